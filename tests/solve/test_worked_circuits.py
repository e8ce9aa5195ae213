"""Worked circuits of textbooks through `solve`: authorities/worked/circuits.json, each row with its source;
and a ladder with one segment worse or cut (rank-one change of a network: Bandler & Salama, Proc. IEEE 73(8)
1985, from memory; the figures recomputed by full solution).

The program's own laws add 1 gigaohm from every node to BAT.- and at least 1 microhm to every part: 1e-4 of a
reading at 250 kohm, nothing elsewhere.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from amptrail.belief import equivalent
from amptrail.circuit.model import Circuit, Net, Part, Phase, Term, Value
from amptrail.reference.fuse import amps_from_drop, blade
from amptrail.reference.wire import metric_wires
from amptrail.solve import Change, Kind, Network, Tap, assemble, read, run, sensitivities

ROWS = json.loads(
    (Path(__file__).parents[2] / "authorities" / "worked" / "circuits.json").read_text(encoding="utf-8")
)
NONE = 1e-6  # the least ohms a part may have


def result(name: str, given: str) -> dict[str, Any]:
    """The figures of the row with this name whose circuit is so described."""
    (row,) = [r for r in ROWS if r["name"] == name and given in r["given"]]
    assert row["source"]
    return dict(row["result"])


def network(parts: dict[str, tuple[str, str, str, dict[str, Value]]]) -> Network:
    """Parts as name: (kind, net a, net b, values); the battery's a is its plus; net 0 is BAT.-."""
    terms: dict[str, list[Term]] = {}
    made = []
    for name, (kind, a, b, given) in parts.items():
        made.append(Part(kind, name, tuple(sorted(given.items()))))  # type: ignore[arg-type]
        ends = ("+", "-") if kind == "battery" else ("in", "out")
        for net, end in zip((a, b), ends, strict=True):
            terms.setdefault(net, []).append(Term(name, end))
    nets = tuple(Net(f"n{n}", tuple(t)) for n, t in terms.items())
    return assemble(
        Circuit(laws="oracle-1", phases=(Phase("asleep", "asleep", 1.0),), parts=tuple(made), nets=nets)
    )


def battery(a: str, emf: float, ohm: float = NONE) -> tuple[str, str, str, dict[str, Value]]:
    return "battery", a, "0", {"emf_v": emf, "inner_ohm": ohm, "charge_ohm": ohm}


def resistor(a: str, b: str, ohm: float) -> tuple[str, str, str, dict[str, Value]]:
    return "resistor", a, b, {"ohm": ohm}


class Solved:
    """Volts and amps of one lane."""

    def __init__(self, net: Network, *changes: Change) -> None:
        self.net, self.runs = net, run(net, [changes])
        assert self.runs.status[0, 0] == 0

    def volts(self, a: str, b: str = "0") -> float:
        v = self.runs.volts[0, 0]
        return float(v[self.net.node(Term("", f"n{a}"))] - v[self.net.node(Term("", f"n{b}"))])

    def amps(self, part: str) -> float:
        return float(self.runs.amps[0, 0, self.net.branch(part)])


def millman(left: float = 28.0, right: float = 7.0) -> Network:
    sources = {"BAT": battery("1", left, 4.0) if left else resistor("1", "0", 4.0)}
    sources["B2"] = battery("1", right, 1.0) if right else resistor("1", "0", 1.0)
    if not left:
        sources = {"B2": sources["B2"], "BAT": sources["BAT"]}
    return network({**sources, "R2": resistor("1", "0", 2.0)})


def test_two_sources_on_one_node() -> None:
    told = result("Millman, two sources", "28 V")
    s = Solved(millman())
    assert s.volts("1") == pytest.approx(told["node_V"], rel=1e-6)
    assert s.amps("BAT") == pytest.approx(told["I4"], rel=1e-6)
    assert s.amps("R2") == pytest.approx(told["I2"], rel=1e-6)
    assert s.amps("B2") == pytest.approx(told["I1"], rel=1e-6)  # it is being charged


def test_sources_one_at_a_time_add_up() -> None:
    told = result("Superposition of the same", "28 V")
    one, two = Solved(millman(28.0, 0.0)).volts("1"), Solved(millman(0.0, 7.0)).volts("1")
    assert one == pytest.approx(told["V28"], rel=1e-6)
    assert two == pytest.approx(told["V7"], rel=1e-6)
    assert one + two == pytest.approx(told["sum"], rel=1e-6)


def test_open_volts_and_short_amps() -> None:
    told = result("Thevenin / Norton at the 2 ohm", "same")
    net = millman()
    open_v = Solved(net, Change(Kind.OPEN, "R2")).volts("1")
    short = Solved(net, Change(Kind.PARAM, "R2", "ohm", NONE)).amps("R2")
    assert open_v == pytest.approx(told["Vth"], rel=1e-6)
    assert short == pytest.approx(told["In"], rel=1e-5)
    assert open_v / short == pytest.approx(told["Rth"], rel=1e-5)
    assert Solved(net).volts("1") == pytest.approx(told["V_load"], rel=1e-6)


def test_unbalanced_bridge() -> None:
    told = result("Unbalanced bridge (delta-wye)", "10 V")
    s = Solved(
        network(
            {
                "BAT": battery("1", 10.0), "RA": resistor("1", "A", 12.0), "RB": resistor("1", "B", 18.0),
                "RM": resistor("A", "B", 6.0), "RC": resistor("A", "0", 18.0), "RD": resistor("B", "0", 12.0),
            }
        )
    )  # fmt: skip
    assert s.volts("A") == pytest.approx(told["VA"], rel=1e-5)
    assert s.volts("B") == pytest.approx(told["VB"], rel=1e-5)
    assert s.volts("A", "B") == pytest.approx(told["Vbridge"], rel=1e-5)
    assert s.amps("RM") == pytest.approx(told["Ibridge"], rel=1e-5)
    assert s.amps("BAT") == pytest.approx(told["Itotal"], rel=1e-5)


def test_series_parallel() -> None:
    told = result("Series-parallel", "24 V")
    s = Solved(
        network(
            {
                "BAT": battery("1", 24.0), "R100": resistor("1", "m", 100.0), "R250": resistor("1", "m",
                    250.0),
                "R350": resistor("m", "0", 350.0), "R200": resistor("m", "0", 200.0),
            }
        )
    )  # fmt: skip
    assert 1e3 * s.amps("BAT") == pytest.approx(told["It_mA"], rel=1e-5)
    assert s.volts("1", "m") == pytest.approx(told["V_top"], rel=1e-5)
    assert s.volts("m") == pytest.approx(told["V_bottom"], rel=1e-5)
    for name in ("100", "250", "350", "200"):
        assert 1e3 * s.amps(f"R{name}") == pytest.approx(told[f"I{name}_mA"], rel=1e-5)
    assert 24.0 / s.amps("BAT") == pytest.approx(told["Rt"], rel=1e-5)


@pytest.mark.parametrize(("meter", "ohm"), [("1e+07", 1e7), ("1e+06", 1e6), ("250000", 250e3)])
def test_a_meter_loads_what_it_measures(meter: str, ohm: float) -> None:
    told = result("Voltmeter loading", f"meter {meter} ohm")
    net = network(
        {"BAT": battery("1", 24.0), "R1": resistor("1", "m", 250e3), "R2": resistor("m", "0", 250e3)}
    )
    got = read(net, run(net, [()]), [Tap(Term("", "nm"), None, "meter", (ohm,))])
    assert got.value[0, 0, 0] == pytest.approx(told["reads"], rel=2e-4)  # 1 gigaohm across 125 kohm


@pytest.mark.parametrize("last", ["100", "101"])
def test_wheatstone(last: str) -> None:
    told = result("Wheatstone", f"100/100/100/{last}")
    s = Solved(
        network(
            {
                "BAT": battery("1", 10.0), "RA": resistor("1", "a", 100.0), "RB": resistor("1", "b", 100.0),
                "RC": resistor("a", "0", 100.0), "RD": resistor("b", "0", float(last)),
            }
        )
    )  # fmt: skip
    assert 1e3 * s.volts("a", "b") == pytest.approx(told["Vab_mV"], rel=1e-5, abs=1e-6)


@pytest.mark.parametrize(("inner", "load"), [("0.1", "10"), ("0.1", "0.5"), ("0.5", "0.5")])
def test_battery_with_inner_resistance(inner: str, load: str) -> None:
    told = result("Battery internal resistance", f"r={inner}, load {load}")
    s = Solved(network({"BAT": battery("1", 12.0, float(inner)), "R": resistor("1", "0", float(load))}))
    assert s.amps("R") == pytest.approx(told["I"], rel=1e-4)
    assert s.volts("1") == pytest.approx(told["Vt"], rel=1e-4)
    assert s.volts("1") * s.amps("R") == pytest.approx(told["P"], rel=1e-4)


def test_series_and_parallel() -> None:
    told = result("Series + parallel", "12 V")
    s = Solved(
        network(
            {
                "BAT": battery("1", 12.0), "R1": resistor("1", "m", 1.0), "R2": resistor("m", "0", 6.0),
                "R3": resistor("m", "0", 13.0),
            }
        )
    )  # fmt: skip
    assert s.amps("BAT") == pytest.approx(told["I"], rel=1e-4)
    assert s.volts("1", "m") == pytest.approx(told["V1"], rel=1e-4)
    assert s.amps("R2") == pytest.approx(told["I2"], rel=1e-4)
    assert s.volts("m") * s.amps("R2") == pytest.approx(told["P2"], rel=1e-4)


def test_two_loops() -> None:
    """6 ohm across 18 V behind 3 ohm (0.5 of its own) and 45 V behind 2 ohm; the first is driven
    backwards."""
    told = result("Two-loop Kirchhoff", "18 V")
    s = Solved(
        network(
            {
                "BAT": battery("a", 18.0, 0.5), "RA": resistor("a", "e", 2.5), "B2": battery("b", 45.0, 0.5),
                "RB": resistor("b", "e", 1.5), "R1": resistor("e", "0", 6.0),
            }
        )
    )  # fmt: skip
    assert s.amps("R1") == pytest.approx(told["I1"], rel=1e-6)
    assert s.amps("BAT") == pytest.approx(told["I2"], rel=1e-6)
    assert s.amps("B2") == pytest.approx(told["I3"], rel=1e-6)


def test_diode_and_resistor() -> None:
    """Shockley at 300 K; n carries the ratio of its thermal voltage to that of the laws (0.025864186 V)."""
    told = result("Diode and resistor", "10 V")
    n = 1.380649e-23 * 300 / 1.602176634e-19 / 0.025864186
    s = Solved(
        network(
            {
                "BAT": battery("1", 10.0), "R": resistor("1", "d", 1000.0),
                "D": ("diode", "d", "0", {"is_a": 1e-12, "n": n, "rs_ohm": NONE}),
            }
        )
    )  # fmt: skip
    assert 1e3 * s.amps("D") == pytest.approx(told["I_exact_mA"], rel=1e-5)
    assert s.volts("d") == pytest.approx(told["Vd"], rel=1e-4)


def test_high_resistance_ground() -> None:
    told = result("High-resistance ground", "12.6 V")
    fixed = Solved(
        network({"BAT": battery("1", 12.6), "L": resistor("1", "g", 7.56), "G": resistor("g", "0", 0.5)})
    )
    assert fixed.volts("g") == pytest.approx(told["Vdrop"], rel=1e-4)
    assert fixed.volts("1", "g") == pytest.approx(told["Vlamp"], rel=1e-3)
    (law,) = [r["result"] for r in ROWS if "lamp law" in r["name"]]
    lamp = Solved(
        network(
            {
                "BAT": battery("1", 12.6), "L": ("lamp", "1", "g", {"rated_v": 12.6,
                    "rated_w": 12.6**2 / 7.56}),
                "G": resistor("g", "0", 0.5),
            }
        )
    )  # fmt: skip
    assert lamp.volts("1", "g") == pytest.approx(law["Vlamp"], rel=1e-3)
    assert lamp.amps("L") == pytest.approx(law["I"], rel=1e-3)
    assert lamp.volts("g") == pytest.approx(law["Vdrop"], rel=1e-3)


def test_every_direct_current_row_is_used() -> None:
    """A row added to the file does not pass by unseen."""
    in_time = ("RC charge", "LR rise", "Coil freewheel (electrical part only)")
    rows = [r["name"] for r in ROWS if r["name"] not in in_time]
    assert len(rows) == 18


# ---- published tables, read as a technician reads them ----------------------------------------------
@pytest.mark.parametrize("rating", [5.0, 10.0, 15.0, 20.0, 30.0])
def test_millivolts_across_a_fuse_tell_its_current(rating: float) -> None:
    """50 mA through a fuse of its datasheet's cold resistance (standard blade, ISO 8820-3; `reference` says
    which rows were seen): the millivolts read back to 50 mA by the same table."""
    cold = blade(rating).cold_ohm
    assert cold is not None
    net = network(
        {
            "BAT": battery("1", 12.6),
            "F": ("fuse", "1", "2", {"rating_a": rating, "ohm": cold}),
            "R": resistor("2", "0", 252.0),
        }
    )
    got = read(net, run(net, [()]), [Tap(Term("", "n1"), Term("", "n2"), "fuse-drop")])
    assert got.value[0, 0, 0] == pytest.approx(0.05 * cold, rel=1e-3)
    assert amps_from_drop(rating, float(got.value[0, 0, 0])) == pytest.approx(0.05, rel=1e-3)


def test_a_wire_of_the_sheet_drops_what_the_conductor_table_allows() -> None:
    """10 A through 1 m of every metric size: the law's 0.0185 ohm mm2/m is at or just below the maximum of
    ISO 6722-1 at 20 C (from memory in `reference`), never more than a tenth under it."""
    for w in metric_wires():
        net = network(
            {
                "BAT": battery("1", 12.6), "R": resistor("2", "0", 1.26),
                "W": ("wire", "1", "2", {"area_mm2": w.nominal_mm2, "length_m": 1.0}),
            }
        )  # fmt: skip
        s = Solved(net)
        ohm = s.volts("1", "2") / s.amps("W")
        assert 0.9 < ohm / w.ohm_per_m < 1.02, w.nominal_mm2


# ---- a ladder with one part changed (CHECKS A13, A14) -----------------------------------------------
def ladder() -> Network:
    return network(
        {
            "BAT": battery("1", 12.6, 0.02), "S12": resistor("1", "2", 0.05), "S23": resistor("2", "3", 0.05),
            "S34": resistor("3", "4", 0.05), "R2": resistor("2", "0", 100.0), "R4": resistor("4", "0", 4.0),
        }
    )  # fmt: skip


@pytest.mark.parametrize(
    ("changes", "volts"),
    [
        ((), (12.537134, 12.379969, 12.228993, 12.078018)),
        ((Change(Kind.PARAM, "S23", "ohm", 0.55),), (12.543595, 12.402583, 10.919666, 10.784855)),
        ((Change(Kind.SERIES, "S23", None, 0.5),), (12.543595, 12.402583, 10.919666, 10.784855)),
        ((Change(Kind.OPEN, "S23"),), (12.597482, 12.591186, 0.0, 0.0)),
    ],
)
def test_one_part_of_a_ladder_changed(changes: tuple[Change, ...], volts: tuple[float, ...]) -> None:
    s = Solved(ladder(), *changes)
    assert [s.volts(n) for n in "1234"] == pytest.approx(volts, abs=5.1e-7)
    if volts[2] == 0.0:
        assert s.volts("3") == 0.0 and s.volts("4") == 0.0  # cut off: exactly nothing, not nearly


@pytest.mark.parametrize(("read_at", "rank"), [("4", 1), ("24", 2), ("1234", 4)])
def test_ambiguity_groups_by_rank(read_at: str, rank: int) -> None:
    """Four series resistances and a known load (Stenbakken, Souders & Stewart 1989, from memory): what can be
    told apart is the rank of the readings' slopes; belief must make that many groups of the four faults."""
    net = network(
        {
            "BAT": battery("0b", 12.6), "S1": resistor("0b", "1", 0.05), "S2": resistor("1", "2", 0.05),
            "S3": resistor("2", "3", 0.05), "S4": resistor("3", "4", 0.05), "R": resistor("4", "0", 4.0),
        }
    )  # fmt: skip
    taps = [Tap(Term("", f"n{n}")) for n in read_at]
    runs = run(net, [()])
    four = [next(k for k, p in enumerate(net.parameters) if p.part == f"S{n}") for n in "1234"]
    slopes = sensitivities(net, runs, 0, 0, taps)[:, four]
    assert np.linalg.matrix_rank(slopes, tol=1e-6) == rank
    ohms = np.geomspace(0.01, 100, 9)
    lanes = [(Change(Kind.SERIES, f"S{n}", None, float(r)),) for n in "1234" for r in ohms]
    table = read(net, run(net, lanes), taps).value[:, 0, :].reshape(4, len(ohms), len(taps))
    groups = equivalent(table.min(axis=1), table.max(axis=1), np.full(len(taps), 0.01))
    assert len(groups) == rank
    assert sorted(h for g in groups for h in g) == [0, 1, 2, 3]
