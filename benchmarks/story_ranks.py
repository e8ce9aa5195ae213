"""The rank of the true cause in each public story: `python -m benchmarks.story_ranks`."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from amptrail.circuit.model import Circuit, Fault
from amptrail.circuit.wiring import wiring
from amptrail.jobs.judging.suspects import suspects
from amptrail.sheet import parse, parse_fault

STORIES = Path(__file__).parent.parent / "stories"
_SERIES = {"open", "resistance"}


@dataclass(frozen=True, slots=True)
class Story:
    """One story: its sheet, the readings told, and every fault text that counts as its true cause."""

    name: str
    sheet: str
    readings: str
    truths: tuple[str, ...]
    source: str


def stories(folder: Path = STORIES) -> tuple[Story, ...]:
    """All stories of the folder, by name."""
    found = []
    for truth in sorted(folder.glob("*.truth")):
        lines = [
            x.split(":", 1) for x in truth.read_text(encoding="utf-8").splitlines() if not x.startswith("#")
        ]
        pairs = [(k.strip(), v.strip()) for k, v in lines]
        found.append(
            Story(
                truth.stem,
                truth.with_suffix(".sheet").read_text(encoding="utf-8"),
                truth.with_suffix(".readings").read_text(encoding="utf-8"),
                tuple(v for k, v in pairs if k == "fault"),
                next(v for k, v in pairs if k == "source"),
            )
        )
    return tuple(found)


def _one_place(circuit: Circuit, a: Fault, b: Fault) -> bool:
    """The same part; for a short to ground or supply, the same metal however it is spelled."""
    if a.mode in _SERIES or a.to != b.to:
        return a.at == b.at and a.to == b.to
    metal = wiring(circuit).node(a.at)
    return a.at == b.at or (metal is not None and metal == wiring(circuit).node(b.at))


def same_fault(circuit: Circuit, a: Fault, b: Fault) -> bool:
    """One cause: the same place and the same way of failing, whatever its severity."""
    both_series = a.mode in _SERIES and b.mode in _SERIES
    return (a.mode == b.mode or both_series) and _one_place(circuit, a, b)


def is_cause(circuit: Circuit, text: str, truths: tuple[str, ...]) -> bool:
    """True when the single fault `text` is one of the truths."""
    said = parse_fault(circuit, text)
    return any(len(said) == 1 and same_fault(circuit, said[0], parse_fault(circuit, t)[0]) for t in truths)


def rank(circuit: Circuit, answer: dict[str, Any], truths: tuple[str, ...]) -> int | None:
    """The rank of the first suspect that is the true cause or equal to it; None if unlisted."""
    for suspect in answer["suspects"]:
        faults = suspect["faults"]
        texts = [faults[0]["text"]] if len(faults) == 1 else []
        if any(is_cause(circuit, t, truths) for t in [*texts, *suspect["equivalent"]]):
            return int(suspect["rank"])
    return None


def story_rank(story: Story) -> int | None:
    """The rank the program gives the true cause of a story."""
    return rank(parse(story.sheet), suspects(story.sheet, story.readings), story.truths)


def main() -> int:
    """Print one line a story and how many are in the first three."""
    ranks = {s.name: story_rank(s) for s in stories()}
    for name, place in ranks.items():
        print(f"{name}  {place if place is not None else 'not listed'}")
    first = sum(1 for r in ranks.values() if r is not None and r <= 3)
    print(f"in the first three: {first} of {len(ranks)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
