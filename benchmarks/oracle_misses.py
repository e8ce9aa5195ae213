"""Every reading of the oracle's truth against ours: a table of misses.

    python -m benchmarks.oracle_misses [--engine twin] [CIRCUIT ...]

A volt or ampere misses when it is off by more than max(1 mV or mA, 0.1 %), an ohm by 1 %; states and
disturbances must be equal; where the truth alternates, ours must alternate too and the two must overlap.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from amptrail import twin
from amptrail.circuit.model import Circuit, Fault, Point
from amptrail.exchange.oracle import to_circuit
from amptrail.twin import Moment, state_words

HERE = Path(__file__).parent.parent / "authorities" / "oracle"
OFF = "battery_disconnected"


@dataclass(frozen=True)
class Row:
    """One comparison."""

    circuit: str
    fault: str
    phase: str
    what: str
    ours: Any
    truth: Any
    ok: bool


def near(ours: float | None, truth: float | None, relative: float = 1e-3, absolute: float = 1e-3) -> bool:
    """Equal within max(absolute, relative); None (over range, alternates) only equals None."""
    if ours is None or truth is None:
        return ours is truth
    return abs(ours - truth) <= max(absolute, relative * abs(truth))


def _overlap(got: twin.Got, truth: list[float]) -> bool:
    slack = max(1e-3, 1e-3 * abs(truth[1]))
    return got.value is None and got.low <= truth[1] + slack and truth[0] <= got.high + slack


def _volts(moment: Moment, p: Point, truth: dict[str, Any]) -> Iterator[tuple[str, Any, Any, bool]]:
    for instrument in ("meter", "testlamp", "probe"):
        if instrument not in truth:
            continue
        got = twin.read(moment, p.a, p.b, instrument)
        span = truth.get("alternates_between", {}).get(instrument)
        if span:
            yield instrument, (got.low, got.high), span, _overlap(got, span)
            continue
        yield instrument, got.value, truth[instrument], near(got.value, truth[instrument])
        told = sorted(truth.get("disturbs", {}).get(instrument, ()))
        yield f"{instrument} disturbs", list(got.disturbs), told, list(got.disturbs) == told


def _phase(
    moment: Moment, points: dict[str, Point], truth: dict[str, Any]
) -> Iterator[tuple[str, Any, Any, bool]]:
    for name, told in truth["readings"].items():
        p = points[name]
        if "clamp" in told:
            ours = moment.amps(p.a)
            yield name, ours, told["clamp"], near(ours, told["clamp"])
        elif "ohm" in told:
            ohm = twin.read_ohms(moment, p.a, p.b)
            yield name, ohm, told["ohm"], near(ohm, told["ohm"], 1e-2, 1e-6)
        else:
            for what, ours, t, ok in _volts(moment, p, told):
                yield f"{name} {what}", ours, t, ok
    if "state" in truth:
        words = state_words(moment.state)
        told = {k: sorted(v) for k, v in truth["state"].items()}
        yield "state", words, told, words == told
        yield (
            "chatter",
            moment.status,
            truth["chatter"],
            (moment.status == "chatter") == bool(truth["chatter"]),
        )


def compare(folder: Path) -> Iterator[Row]:
    """Every comparison of one circuit: healthy and each of its faults."""
    circuit: Circuit = to_circuit(json.loads((folder / "circuit.json").read_text(encoding="utf-8")))
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    points = {p.name: p for p in circuit.points}
    cases: list[tuple[str, tuple[Fault, ...], Any]] = [("healthy", (), truth["healthy"])]
    cases += [(f.name, f.faults, truth["faults"][f.name]) for f in circuit.faults]
    for name, faults, told in cases:
        moments = twin.run(circuit, faults)
        by_phase = {m.phase.name: m for m in moments} | {OFF: moments[-1]}
        for phase, t in told.items():
            for what, ours, theirs, ok in _phase(by_phase[phase], points, t):
                yield Row(folder.name, name, phase, what, ours, theirs, ok)


def main(argv: list[str]) -> int:
    """Print the misses; exit 1 when there are any."""
    parser = argparse.ArgumentParser(description="readings of the oracle that we miss")
    parser.add_argument("--engine", choices=("twin",), default="twin")
    parser.add_argument("circuits", nargs="*", default=[p.name for p in sorted(HERE.glob("c*"))])
    missed = 0
    for name in parser.parse_args(argv).circuits:
        rows = list(compare(HERE / name))
        bad = [r for r in rows if not r.ok]
        missed += len(bad)
        for r in bad:
            print(f"{r.circuit}  {r.fault:8} {r.phase:12} {r.what:28} ours {r.ours}  truth {r.truth}")
        print(f"{name}: {len(bad)} of {len(rows)} missed")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
