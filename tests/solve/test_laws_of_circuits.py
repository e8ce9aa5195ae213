"""Operating points against 40-digit arithmetic, isolated parts, references, random double faults."""

from __future__ import annotations

import random

import mpmath as mp
import numpy as np
import pytest

from amptrail.circuit.model import (
    Always,
    Circuit,
    GroundPin,
    Lives,
    Net,
    Part,
    Phase,
    Reference,
    Signal,
    Supply,
    Term,
    Value,
)
from amptrail.errors import ModelError
from amptrail.solve import Change, Kind, Tap, assemble, conservation, read, run

PHASES = (Phase("running", "running", 10.0), Phase("asleep", "asleep", 100.0))


def part(kind: str, name: str, **given: Value) -> Part:
    return Part(kind, name, tuple(sorted(given.items())))  # type: ignore[arg-type]


def circuit(parts: list[Part], nets: list[tuple[str, str]], modules: tuple = ()) -> Circuit:  # type: ignore[type-arg]
    """Nets as ("name", "A.in B.out ...")."""
    joined = tuple(Net(n, tuple(Term(*t.split(".", 1)) for t in terms.split())) for n, terms in nets)
    return Circuit(laws="oracle-1", phases=PHASES, parts=tuple(parts), nets=joined, modules=modules)


def charging(emf_v: float = 12.6) -> Circuit:
    parts = [
        part("battery", "BAT", emf_v=emf_v, inner_ohm=0.01),
        part("wire", "STRAP", ohm=0.0015),
        part("alternator", "ALT", emf_v=14.5 * emf_v / 12.6, inner_ohm=0.01, spins_in=("running",)),
        part("wire", "W1", ohm=0.02),
        part("resistor", "R1", ohm=6.0),
        part("wire", "W2", ohm=0.01),
    ]
    nets = [
        ("plus", "BAT.+ ALT.B+ W1.in"),
        ("minus", "BAT.- STRAP.out"),
        ("body", "STRAP.in ALT.31 W2.out"),
        ("a", "W1.out R1.in"),
        ("b", "R1.out W2.in"),
    ]
    return circuit(parts, nets)


def test_floating_alternator_with_open_strap_to_40_digits() -> None:
    """Strap open: battery charges nothing through the leaks of 1 gigaohm; the cluster floats."""
    net = assemble(charging())
    runs = run(net, [(Change(Kind.OPEN, "STRAP"),)])
    mp.mp.dps = 40
    plus, body, a, b = (net.node(Term("", n)) for n in ("plus", "body", "a", "b"))
    leak = mp.mpf("1e-9")

    def g(ohm: float) -> mp.mpf:
        return 1 / mp.mpf(ohm)

    # unknowns: plus, body, a, b. The battery delivers the leak current of the floating cluster.
    m = mp.zeros(4, 4)
    rhs = mp.zeros(4, 1)
    for i, j, ohm, emf in (
        (0, 2, 0.02, 0.0),
        (2, 3, 6.0, 0.0),
        (3, 1, 0.01, 0.0),
        (1, 0, 0.01, 14.5),
        (-1, 0, 0.01, 12.6),
    ):
        y = g(ohm)
        for p, q, sign in ((i, j, 1), (j, i, -1)):
            if p >= 0:
                m[p, p] += y
                rhs[p] -= sign * y * mp.mpf(emf)
                if q >= 0:
                    m[p, q] -= y
    for p in range(4):
        m[p, p] += leak
    exact = mp.lu_solve(m, rhs)
    for k, node in enumerate((plus, body, a, b)):
        assert abs(mp.mpf(float(runs.volts[0, 0, node])) - exact[k]) < mp.mpf("1e-11")


def test_twice_the_emf_is_twice_every_volt() -> None:
    one, two = (run(assemble(charging(e)), [()]) for e in (12.6, 25.2))
    assert np.allclose(two.volts, 2.0 * one.volts, rtol=1e-12, atol=1e-12)


@pytest.mark.parametrize("kind", ["lamp", "motor"])
def test_a_part_cut_off_on_both_sides_settles(kind: str) -> None:
    parts = [
        part("battery", "BAT", emf_v=12.6),
        part("switch", "SW", closed_in=("running",)),
        part(kind, "X"),
        part("wire", "W", ohm=0.01),
    ]
    net = assemble(
        circuit(
            parts, [("body", "BAT.- W.out"), ("p", "BAT.+ SW.in"), ("q", "SW.out X.in"), ("r", "X.out W.in")]
        )
    )
    runs = run(net, [(), (Change(Kind.OPEN, "SW"), Change(Kind.OPEN, "W")), (Change(Kind.OPEN, "W"),)])
    assert (runs.status == 0).all()
    assert abs(runs.amps[0, 0, net.branch("X")]) > 0.3
    assert abs(runs.amps[1:, :, net.branch("X")]).max() < 1e-7


def sensing() -> Circuit:
    parts = [
        part("battery", "BAT", emf_v=12.6),
        part("wire", "WG", ohm=0.01),
        part("module", "ECM"),
        part("resistor", "R", ohm=1000.0),
    ]
    lines = (
        GroundPin("ECM", "g"),
        Lives("ECM", 6.0),
        Supply("ECM", "s", 25.0, 12000.0),
        Reference("ECM", "r", "five", 5.0, 1.0, 0.05),
        Signal("ECM", "awake", Always()),
    )
    nets = [
        ("plus", "BAT.+ ECM.s"),
        ("body", "BAT.- WG.out R.out"),
        ("ref", "ECM.r R.in"),
        ("mg", "ECM.g WG.in"),
    ]
    return circuit(parts, nets, lines)


def test_reference_is_limited_copied_and_never_absorbs() -> None:
    net = assemble(sensing())
    ref = Term("ECM", "r")
    lanes = [
        (),
        (Change(Kind.BRIDGE, ref, Term("", "body"), 0.001),),
        (Change(Kind.BRIDGE, ref, Term("BAT", "+"), 0.001),),
        (Change(Kind.SERIES, "WG", None, 20.0),),
    ]
    runs = run(net, lanes)
    amps = runs.amps[:, 0, net.branch(ref)]
    assert runs.volts[0, 0, net.node(ref)] == pytest.approx(5.0 + 0.5 * 0.01 - 0.005, abs=1e-3)
    assert amps[1] == pytest.approx(0.05) and amps[2] == 0.0 and 0.0 < amps[3] < 0.05
    assert (runs.status == 0).all()
    supply, copy, delivered = (runs.amps[:, 0, net.branch(x)] for x in ("ECM.s", "ECM.r.copy", "BAT"))
    assert np.allclose(copy, amps, atol=1.1e-6)
    assert delivered[0] == pytest.approx(supply[0] + copy[0], abs=1e-6)
    assert conservation(runs)[0] < 1e-9


def test_ohmmeter_sees_the_circuit_without_its_battery() -> None:
    net = assemble(sensing())
    runs = run(net, [(), (Change(Kind.OPEN, "R"),)])
    got = read(net, runs, [Tap(Term("R", "in"), None, "ohmmeter"), Tap(Term("BAT", "+"), None, "ohmmeter")])
    assert got.value[0, 0, 0] == pytest.approx(1000.0, rel=1e-4)
    assert got.flags(1, 0, 0) == ("over_range",)
    assert got.value[0, 0, 1] == pytest.approx(12000.0, rel=0.01)


def test_random_double_faults_always_converge() -> None:
    parts = [
        part("battery", "BAT", emf_v=12.6),
        part("wire", "STRAP", ohm=0.002),
        part("alternator", "ALT", spins_in=("running",)),
        part("fuse", "F1", rating_a=20.0),
        part("switch", "SW", closed_in=("running",)),
        part("relay", "K", suppressed="diode"),
        part("lamp", "L1", rated_w=21.0),
        part("lamp", "L2"),
        part("motor", "M"),
        part("diode", "D"),
        part("led", "LED"),
        part("load", "E"),
        part("ptc", "H"),
    ]
    nets = [
        ("plus", "BAT.+ ALT.B+ F1.in"),
        ("minus", "BAT.- STRAP.out"),
        ("body", "STRAP.in ALT.31 L1.out M.out K.85 H.out"),
        ("f", "F1.out SW.in K.30 E.in"),
        ("s", "SW.out K.86 L1.in LED.in"),
        ("k", "K.87 M.in D.in"),
        ("d", "D.out L2.in H.in"),
        ("t", "L2.out LED.out E.out"),
    ]
    net = assemble(circuit(parts, nets))
    rng = random.Random(20)
    metals = [Term("", n) for n in ("plus", "minus", "body", "f", "s", "k", "d", "t")]

    def fault() -> Change:
        ohm = 10.0 ** rng.uniform(-3, 6)
        pick = rng.random()
        if pick < 0.3:
            return Change(Kind.OPEN, rng.choice(net.branches))
        if pick < 0.6:
            return Change(Kind.SERIES, rng.choice(net.branches), None, ohm)
        a, b = rng.sample(metals, 2)
        return Change(Kind.BRIDGE, a, b, ohm)

    runs = run(net, [(fault(), fault()) for _ in range(20_000)], cycles=1)
    assert runs.counters["not_converged"] == 0
    assert np.isfinite(runs.volts).all() and np.isfinite(runs.amps).all()
    assert conservation(runs)[0] < 1e-6


def test_names_do_not_matter() -> None:
    text = repr(charging())
    other: Circuit = eval(text.replace("'W1'", "'Z9'").replace("'R1'", "'A0'"))
    assert np.array_equal(run(assemble(charging()), [()]).volts, run(assemble(other), [()]).volts)


def test_unknown_targets_are_told() -> None:
    net = assemble(charging())
    for change in (
        Change(Kind.OPEN, "NO"),
        Change(Kind.PARAM, "W1", "colour", 1.0),
        Change(Kind.SERIES, "W1"),
    ):
        with pytest.raises(ModelError):
            run(net, [(change,)])
