"""Instruments: the twin and the kernel show the same, disturb the same, alternate alike."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from pathlib import Path
from random import Random

import pytest

from amptrail import twin
from amptrail.circuit.model import Circuit, Fault, Term
from amptrail.faults import catalogue, changes
from amptrail.sheet import parse
from amptrail.solve import CHATTER, Tap, assemble, read, run

ROOT = Path(__file__).parents[2]
SHEETS = [ROOT / "demos" / f"{n}.sheet" for n in ("sprayer", "starter", "trailer")]
SHEETS.append(Path(__file__).with_name("everything.sheet"))
WITH = ("meter", "lamp", "loaded", "led", "fuse-drop")
PINS = (Term("K1", "85"), Term("ECM", "15"), Term("BCM", "door"), Term("K4", "85"))
WORDS = {"relay": "relay", "drv": "driver", "fuse": "fuse", "alt": "charging", "trip": "trip"}


@cache
def sheet(path: Path) -> Circuit:
    return parse(path.read_text(encoding="utf-8"), path.stem)


def told(words: tuple[str, ...]) -> list[str]:
    """The twin's list of what an instrument changed, in the words of the JSON contract."""
    out = []
    for word in words:
        kind, _, name = word.partition(".")
        if kind == "sig" and name.endswith(".awake"):
            out.append(f"awake {name.removesuffix('.awake')}")
        elif kind in WORDS:
            out.append(f"{WORDS[kind]} {name}")
    return sorted(out)


@pytest.mark.parametrize("path", SHEETS, ids=lambda p: p.stem)
def test_every_instrument_at_some_points(path: Path) -> None:
    circuit = sheet(path)
    rng = Random(path.stem)
    faults = [(), *rng.sample([h.faults for h in catalogue(circuit) if h.faults], 2)]
    net = assemble(circuit)
    runs = run(net, [tuple(x for f in several for x in changes(net, f)) for several in faults])
    pins = [t for t in PINS if net.wires.node(t) is not None]  # where a lamp switches something
    points = [*pins, *rng.sample(net.wires.names, 4)]
    taps = [Tap(p, None, i) for p in points for i in WITH]  # type: ignore[arg-type]
    taps += [Tap(a, b, "ohmmeter") for a, b in pairwise(points)]
    got = read(net, runs, taps)
    disturbed = 0
    for lane, several in enumerate(faults):
        moments = twin.run(circuit, several)
        for p, moment in enumerate(moments):
            if moment.status == "chatter":
                continue
            for k, tap in enumerate(taps):
                assert isinstance(tap.a, Term)
                where = (several, moment.phase.name, str(tap.a), tap.instrument)
                b = tap.b if isinstance(tap.b, Term) else None
                if tap.instrument == "ohmmeter":
                    ohm = twin.read_ohms(moments[-1], tap.a, b)
                    assert (ohm is None) == bool(got.over[lane, p, k]), where
                    assert ohm is None or ohm == pytest.approx(float(got.value[lane, p, k]), rel=1e-6), where
                    continue
                ours = twin.read(moment, tap.a, b, tap.instrument)
                if got.status[lane, p, k] == CHATTER:
                    assert ours.low == pytest.approx(float(got.low[lane, p, k]), abs=1e-6), where
                    assert ours.high == pytest.approx(float(got.high[lane, p, k]), abs=1e-6), where
                    continue
                assert ours.value == pytest.approx(float(got.value[lane, p, k]), abs=1e-6), where
                assert told(ours.disturbs) == list(got.disturbs(lane, p, k)), where
                disturbed += bool(ours.disturbs)
    assert disturbed or path.stem != "everything"


def test_an_instrument_with_its_own_numbers() -> None:
    circuit = sheet(SHEETS[-1])
    moment = twin.run(circuit)[-1]
    at = Term("X1", "3.a")
    low = [twin.read(moment, at, Term("BAT", "+"), "lamp", (12.0, w)).value for w in (3.0, 21.0)]
    assert low[0] is not None and low[1] is not None and abs(low[0]) > abs(low[1])
    assert twin.read(moment, Term("BAT", "+"), None, "meter", (1e3,)).value == pytest.approx(12.497, abs=0.01)
    assert twin.read_ohms(moment, Term("ECT", "in"), Term("ECT", "out")) == pytest.approx(2500, rel=0.6)


def test_an_output_always_on_is_seen_by_the_ohmmeter() -> None:
    circuit = sheet(SHEETS[-1])
    a, b = Term("BCM", "lamp"), Term("BCM", "30")
    healthy, shorted = (
        twin.read_ohms(twin.run(circuit, several)[-1], a, b)
        for several in ((), (Fault("always_on", Term("BCM", "lamp")),))
    )
    assert shorted == pytest.approx(0.1, abs=0.01)
    assert healthy is not None and healthy > 0.5
