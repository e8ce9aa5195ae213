"""Every reading of the oracle's truth against ours: a table of misses.

    python -m benchmarks.oracle_misses [--engine expect|twin] [CIRCUIT ...]

`expect` (the default) goes the way of an outside judge: `convert` to a sheet, then `expect` with its
faults, as JSON. A volt or ampere misses when it is off by more than max(1 mV or mA, 0.1 %), an ohm by 1 %;
states and disturbances must be equal; where the truth alternates, ours must alternate too and the two must
overlap.
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
from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
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


WITH = {"meter": "meter", "testlamp": "lamp", "probe": "loaded", "clamp": "clamp", "ohm": "ohmmeter"}
WORDS = {"relay": "relay", "drv": "driver", "fuse": "fuse", "trip": "trip", "alt": "charging"}


def item(word: str) -> str:
    """A state word of the oracle as the contract names it; empty for inputs and plain signals, not listed
    there."""
    kind, _, name = word.partition(".")
    if kind == "sig" and name.endswith(".awake"):
        return f"awake {name.removesuffix('.awake')}"
    return f"{WORDS[kind]} {name}" if kind in WORDS else ""


def asked(folder: Path) -> dict[str, dict[str, Any]]:
    """[fault or "healthy"][phase] -> row of `expect` for every point with every instrument."""
    d = json.loads((folder / "circuit.json").read_text(encoding="utf-8"))
    made = answer(["convert", "c.json", "--to", "sheet"], Files({"c.json": json.dumps(d)}))
    names = [f["id"] for f in d["faults"]]
    argv = ["expect", "c.sheet", "--cycles", "2", "--nominal"]
    argv += [x for i in WITH.values() for x in ("--with", i)]
    argv += [x for p in (*d["points"], *d["ohm_points"]) for x in ("--at", p["id"])]
    files = Files({"c.sheet": made["text"], "faults": "\n".join(names)})
    runs = [answer(argv, files)["runs"][0]]
    runs += answer([*argv, "--faults", "faults"], files)["runs"] if names else []
    return {
        r["fault"] or "healthy": {OFF if p["phase"] == "off" else p["phase"]: p for p in r["phases"]}
        for r in runs
    }


def _shown(row: dict[str, Any], word: str, told: dict[str, Any]) -> Iterator[tuple[str, Any, Any, bool]]:
    """One reading: its value (or that it alternates), and what the instrument switched."""
    span = told.get("alternates_between", {}).get(word)
    ours = row["value"]
    if span:
        have = row["alternates"] or [ours, ours]
        slack = max(1e-3, 1e-3 * abs(span[1]))
        meets = None not in have and have[0] <= span[1] + slack and span[0] <= have[1] + slack
        yield word, have, span, meets
        return
    limits = (1e-2, 1e-6) if word == "ohm" else (1e-3, 1e-3)
    yield word, ours, told[word], near(ours, told[word], *limits)
    if word not in ("ohm", "clamp"):
        changed = sorted({item(x) for x in told.get("disturbs", {}).get(word, ())} - {""})
        yield f"{word} disturbs", sorted(row["disturbs"]), changed, sorted(row["disturbs"]) == changed


def compare_expect(folder: Path) -> Iterator[Row]:
    """Every comparison of one circuit through `convert` and `expect`."""
    truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    ours = asked(folder)
    for fault, phases in {"healthy": truth["healthy"], **truth["faults"]}.items():
        for phase, told in phases.items():
            row = ours[fault].get(phase) or ours[fault][OFF]
            table = {(r["point"], r["instrument"]): r for r in row["readings"]}
            for point, t in told["readings"].items():
                for word in WITH:
                    if word in t:
                        for what, a, b, ok in _shown(table[point, WITH[word]], word, t):
                            yield Row(folder.name, fault, phase, f"{point} {what}", a, b, ok)
            for k, v in told.get("state", {}).items():
                have = row["state"][k.replace("fuses_blown", "fuses_open")]
                yield Row(folder.name, fault, phase, k, have, sorted(v), have == sorted(v))
            if "chatter" in told:
                buzz = row["status"] == "chatter"
                same = buzz == bool(told["chatter"])
                yield Row(folder.name, fault, phase, "chatter", row["chatter"], told["chatter"], same)


def compare(folder: Path) -> Iterator[Row]:
    """Every comparison of one circuit by the twin: healthy and each of its faults."""
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
    parser.add_argument("--engine", choices=("expect", "twin"), default="expect")
    parser.add_argument("circuits", nargs="*", default=[p.name for p in sorted(HERE.glob("c*"))])
    missed = 0
    o = parser.parse_args(argv)
    for name in o.circuits:
        rows = list((compare_expect if o.engine == "expect" else compare)(HERE / name))
        bad = [r for r in rows if not r.ok]
        missed += len(bad)
        for r in bad:
            print(f"{r.circuit}  {r.fault:8} {r.phase:12} {r.what:28} ours {r.ours}  truth {r.truth}")
        print(f"{name}: {len(bad)} of {len(rows)} missed")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
