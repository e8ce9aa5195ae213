"""Two computations that share no numeric code give the same volts, amps and states (issue: 1e-9 V).

Every part kind, every module line and every fault mode is somewhere among the circuits compared.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random
from typing import get_args

import pytest
from benchmarks import generator
from benchmarks.twin_misses import Faults, apart

from amptrail import twin
from amptrail.circuit.model import Circuit, Driver, Fault, Mode, ModuleLine, PartKind, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.faults import catalogue
from amptrail.faults.overlay import changes
from amptrail.sheet import parse
from amptrail.solve import assemble, run

ROOT = Path(__file__).parents[2]
DEMOS = sorted((ROOT / "demos").glob("*.sheet"))
EVERYTHING = Path(__file__).with_name("everything.sheet")


@cache
def sheet(path: Path) -> Circuit:
    return parse(path.read_text(encoding="utf-8"), path.stem)


def sample(circuit: Circuit, n: int, seed: int) -> list[Faults]:
    """The healthy circuit and n causes of the catalogue."""
    every = [h.faults for h in catalogue(circuit) if h.faults]
    return [(), *Random(seed).sample(every, min(n, len(every)))]


def agree(circuit: Circuit, cases: list[Faults], start: str = "asleep") -> None:
    found, compared = apart(circuit, cases, start)
    assert not found, (len(found), found[0])
    assert compared == len(cases) * len(drive_cycle(circuit))


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_demos(path: Path) -> None:
    circuit = sheet(path)
    agree(circuit, [*sample(circuit, 20, 1), *(f.faults for f in circuit.faults)])


@pytest.mark.parametrize("size", [30, 60])
@pytest.mark.parametrize("seed", range(3))
def test_generated_circuits(size: int, seed: int) -> None:
    circuit = generator.generate(size, seed)
    agree(circuit, [*sample(circuit, 15, seed), *generator.faults(circuit, 10, seed, doubles=0.6)])


@pytest.mark.parametrize("laws", ["amptrail", "oracle-1"])
def test_everything_healthy_and_faulted(laws: str) -> None:
    circuit = replace(sheet(EVERYTHING), laws=laws)
    agree(circuit, [*sample(circuit, 25, 2), *(f.faults for f in circuit.faults)])


@pytest.mark.parametrize("phase", [p.name for p in drive_cycle(sheet(EVERYTHING))])
def test_fitted_awake(phase: str) -> None:
    circuit = sheet(EVERYTHING)
    agree(circuit, sample(circuit, 3, 3), f"awake:{phase}")


def every_mode() -> list[Fault]:
    """Each fault mode at least once, where it bites."""
    ohm = 0.5
    at = Term
    return [
        Fault("open", at("K1", "87")), Fault("open", at("STA", "")), Fault("open", at("K1", "")),
        Fault("resistance", at("X1", "3"), ohm=40.0), Fault("resistance", at("ECM", "v5"), ohm=95.0),
        Fault("to_ground", at("ECM", "v5"), ohm=ohm),
        Fault("to_supply", at("ECM", "v5"), ohm=ohm), Fault("to_supply", at("ECM", "mot"), ohm=ohm),
        Fault("to_point", at("X1", "1"), to=at("X1", "5.b"), ohm=90.0),
        Fault("to_point", at("MAP", "1"), to=at("MAP", "3")), Fault("stuck_on", at("K1", "")),
        Fault("stuck_off", at("STA", "")), Fault("stuck_on", at("KEY", "")), Fault("stuck_off", at("S1", "")),
        Fault("dead", at("ECM", "main")), Fault("dead", at("ECM", "15")), Fault("dead", at("BCM", "door")),
        Fault("always_on", at("ECM", "sol")), Fault("always_on", at("ECM", "mot")),
        Fault("stays_awake", at("BCM", "")), Fault("woken", at("ECM", "")), Fault("seized", at("FAN", "")),
        Fault("has", at("BAT", ""), attribute="emf_v", value=11.0),
        Fault("has", at("K1", ""), attribute="coil_ohm", value=30.0),
        Fault("has", at("W3", ""), attribute="length_m", value=20.0),
        Fault("has", at("L1", ""), attribute="rated_w", value=5.0),
        Fault("wrong_rating", at("F1", ""), value=3.0), Fault("wrong_rating", at("F2", "")),
        Fault("missing", at("F1", "")), Fault("missing", at("K1", "")), Fault("missing", at("X1", "")),
        Fault("missing", at("BCM", "")), Fault("missing", at("ECM", "")), Fault("missing", at("ALT", "")),
        Fault("swapped", at("X1", "1"), to=at("X1", "2")), Fault("module_dead", at("ECM", "")),
        Fault("interlock_open", at("S1", "")), Fault("instrument_wrong", at("ECM", "")),
    ]  # fmt: skip


def test_every_fault_mode() -> None:
    circuit = sheet(EVERYTHING)
    modes = every_mode()
    assert {f.mode for f in modes} == set(get_args(Mode))
    agree(circuit, [(f,) for f in modes])


def test_nothing_is_left_out() -> None:
    """The sheet of everything has every kind of part, every kind of module line and every sort of driver."""
    circuit = sheet(EVERYTHING)
    assert {p.kind for p in circuit.parts} == set(get_args(PartKind))
    assert {type(x) for x in circuit.modules} == set(get_args(ModuleLine))
    drivers = [x for x in circuit.modules if isinstance(x, Driver)]
    assert {x.side for x in drivers} == {"low", "high", "half"}
    assert {x.latch for x in drivers} == {"request", "key"}
    assert any(x.duty for x in drivers) and any(x.runs_asleep for x in drivers)
    assert any(not x.body_diode for x in drivers)


def test_a_difference_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    """The comparison can fail: the twin with a battery of 12.5 V beside the kernel's healthy lane."""
    circuit = sheet(DEMOS[0])
    assert apart(circuit, [()])[0] == []
    flat = (Fault("has", Term("BAT", ""), attribute="emf_v", value=12.5),)
    plain = twin.run
    monkeypatch.setattr(twin, "run", lambda c, f, *more: plain(c, flat, *more))
    assert apart(circuit, [()])[0]


def test_a_bad_joint_at_every_pin_of_a_module() -> None:
    """An open or poor pin parts the module from the wire: its supply gone, its ground lifted, its input left
    to its own pull."""
    circuit = sheet(EVERYTHING)
    pins = sorted({Term(x.module, x.pin) for x in circuit.modules if hasattr(x, "pin")}, key=str)
    cases: list[Faults] = [(Fault("open", at),) for at in pins]
    agree(circuit, [*cases, *((Fault("resistance", at, ohm=30.0),) for at in pins)])
    net = assemble(circuit)
    for name, own in (("30", "BCM"), ("31", "BCM")):
        got = run(net, [changes(net, Fault("open", Term(own, name)))])
        assert not any(own in got.state(0, k).modules_awake for k in range(len(got.phases)))


def test_a_bad_joint_where_several_branches_of_a_part_end() -> None:
    """The common terminal of a contact, a key switch, a solenoid; a field; the wiper of a track."""
    circuit = sheet(EVERYTHING)
    told = [("K1", "30"), ("KEY", "30"), ("STA", "50"), ("STA", "31"), ("ALT", "D+"), ("PED", "2")]
    ends = [Term(*t) for t in told]
    joints = [Fault("open", t) for t in ends] + [Fault("resistance", t, ohm=30.0) for t in ends]
    agree(circuit, [(f,) for f in joints])
    net = assemble(circuit)
    for t in ends:
        assert 0 < len(changes(net, Fault("open", t))) <= len(net.part_branches[key(t.part)])
