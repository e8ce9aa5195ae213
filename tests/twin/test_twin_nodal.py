"""The twin's node volts against arithmetic of 40 and 60 digits (mpmath), and against the circuit laws."""

from __future__ import annotations

import math
from itertools import pairwise

import mpmath as mp
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from amptrail.circuit.model import Term
from amptrail.twin import Element
from amptrail.twin.laws import LAWS, limited
from amptrail.twin.nodal import LEAK_S, solve

NAME = Term("", "")


def exact(here: list[Element], n: int, reference: int) -> list[mp.mpf]:
    """Node volts of resistances and emfs by LU at 60 digits, every node with its gigaohm."""
    mp.mp.dps = 60
    keep = [k for k in range(n) if k != reference]
    at = {k: i for i, k in enumerate(keep)}
    g, into = mp.zeros(len(keep)), mp.zeros(len(keep), 1)
    for k in keep:
        g[at[k], at[k]] += mp.mpf(LEAK_S)
    for e in here:
        y = 1 / mp.mpf(e.p[0])
        for p, q, sign in ((e.a, e.b, 1), (e.b, e.a, -1)):
            if p in at:
                g[at[p], at[p]] += y
                into[at[p]] += sign * y * mp.mpf(e.p[1])
                if q in at:
                    g[at[p], at[q]] -= y
    volts = mp.lu_solve(g, into)
    return [volts[at[k]] if k in at else mp.mpf(0) for k in range(n)]


ohms = st.floats(-6, 6).map(lambda x: 10.0**x)
emfs = st.sampled_from((0.0, 0.0, 0.0, 5.0, 12.6, -14.5))


@st.composite
def networks(draw: st.DrawFn) -> tuple[list[Element], int]:
    """Any graph of resistances with sources in some branches; parts of it may float."""
    n = draw(st.integers(2, 12))
    ends = st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)).filter(lambda t: t[0] != t[1])
    made = draw(st.lists(st.tuples(ends, ohms, emfs), min_size=1, max_size=24))
    return [Element(NAME, "res", a, b, (ohm, emf)) for (a, b), ohm, emf in made], n


@settings(max_examples=150, deadline=None)
@given(networks())
def test_any_network_to_sixty_digits(network: tuple[list[Element], int]) -> None:
    here, n = network
    got = solve(here, n, range(n), 0)
    for ours, truth in zip(got.volts, exact(here, n, 0), strict=True):
        assert abs(mp.mpf(ours) - truth) < mp.mpf("1e-11") * (1 + abs(truth))


def test_a_floating_alternator_and_battery() -> None:
    """1,450 A circulate in a piece that only gigaohms hold (authorities: 40-digit arithmetic)."""
    here = [
        Element(NAME, "res", 1, 2, (0.01, -14.5)),
        Element(NAME, "res", 1, 2, (1e-6, 0.0)),
        Element(NAME, "res", 2, 3, (0.0015, 0.0)),
        Element(NAME, "res", 0, 4, (0.01, -12.6)),
        Element(NAME, "res", 4, 5, (6.0, 0.0)),
    ]
    got = solve(here, 6, range(6), 0)
    for ours, truth in zip(got.volts, exact(here, 6, 0), strict=True):
        assert abs(mp.mpf(ours) - truth) < mp.mpf("1e-14")
    assert abs(got.amps[0]) > 1000


def test_a_lamp_and_a_motor_cut_off_on_both_sides() -> None:
    for law, p in (("lamp", (12.0, 5.0)), ("motor", (0.5, 2.5, 6.0, 13.0)), ("sat", (4.0, 2.0))):
        here = [Element(NAME, "res", 0, 1, (0.01, -12.6)), Element(NAME, law, 2, 3, p)]  # type: ignore[arg-type]
        assert solve(here, 4, range(4), 0).amps[1] == 0.0


def test_a_reference_takes_its_current_from_the_supply() -> None:
    """5 V behind 1 ohm into 100 ohm to the module's ground, which lies behind 20 ohm (by hand)."""
    here = [
        Element(NAME, "res", 0, 1, (1e-6, -12.0)),  # supply 12 V
        Element(NAME, "ref", 1, 2, (5.0, 1.0, 0.06), None, None, 3),
        Element(NAME, "res", 2, 3, (100.0, 0.0)),
        Element(NAME, "res", 3, 0, (20.0, 0.0)),
    ]
    got = solve(here, 4, (), 0)
    amps = 5.0 / 101.0
    assert got.amps[1] == pytest.approx(amps, rel=1e-9)
    assert got.volts[3] == pytest.approx(20.0 * amps, rel=1e-9)
    here[2] = Element(NAME, "res", 2, 3, (10.0, 0.0))  # 0.45 A wanted: limited to 60 mA
    assert solve(here, 4, (), 0).volts[3] == pytest.approx(20.0 * 0.06, rel=1e-9)


NUMBERS = {
    "lamp": (12.0, 21.0), "motor": (0.5, 2.5, 6.0, 13.0), "diode": (5e-9, 1.5), "cell": (12.6, 0.01, 0.2),
    "oneway": (14.5, 0.02), "sat": (4.0, 2.0), "ref": (5.0, 0.3, 0.06),
}  # fmt: skip


@pytest.mark.parametrize("law", sorted(LAWS))
def test_no_law_falls_and_every_slope_is_true(law: str) -> None:
    """Current never falls with volts (a reference counts into its pin); the slope is the law's own, by
    differences."""
    points = [x / 7.0 for x in range(-140, 140)]
    if law == "diode":
        points = [x / 200 for x in range(-140, 180)]
    sign = -1.0 if law == "ref" else 1.0
    made = [LAWS[law](u, NUMBERS[law]) for u in points]
    for (i, g), (more, _) in pairwise(made):
        assert sign * (more - i) >= 0 and sign * g >= 0
    for u, (i, g) in zip(points, made, strict=True):
        ahead, back = LAWS[law](u + 1e-7, NUMBERS[law])[0] - i, i - LAWS[law](u - 1e-7, NUMBERS[law])[0]
        if math.isclose(ahead, back, rel_tol=1e-2, abs_tol=1e-12):  # not at a corner of the law
            assert g == pytest.approx((ahead + back) / 2e-7, rel=1e-2, abs=1e-6)


def test_no_step_jumps_over_the_only_slope() -> None:
    assert limited("sat", (4.0, 2.0), -20.0, 20.0) == 0.0
    assert limited("ref", (5.0, 0.3, 0.06), 0.0, 12.0) == pytest.approx(5.0 - 0.3 * 0.06 / 2)
    assert limited("lamp", (12.0, 5.0), 3.0, -3.0) == 0.0
    assert limited("diode", (5e-9, 1.5), 0.0, 12.0) == 0.55
