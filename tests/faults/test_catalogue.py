"""The catalogue: complete by kind, weighed by class, told apart by id and said in words that read back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from amptrail.circuit.model import Circuit, Fault, Likelier, Term, WorkedOn
from amptrail.faults import NOTHING, Hypothesis, catalogue
from amptrail.faults.metal import beyond_fuse, neighbours
from amptrail.faults.spots import neighbour_pairs
from amptrail.reference.priors import SINGLES_TOTAL, shares
from amptrail.sheet import fault_text, parse, parse_fault

SHEET = (Path(__file__).parent / "bench.sheet").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    return parse(SHEET)


def by_id(circuit: Circuit) -> dict[str, Hypothesis]:
    return {h.id: h for h in catalogue(circuit)}


def test_ids_are_unique_and_priors_sum_to_the_stated_total(circuit: Circuit) -> None:
    found = catalogue(circuit)
    assert len({h.id for h in found}) == len(found)
    assert sum(h.prior for h in found) == pytest.approx(SINGLES_TOTAL)
    assert all(h.prior > 0 and h.repair_minutes > 0 and h.repair and h.group for h in found)


def test_classes_keep_their_shares_however_long_the_sheet(circuit: Circuit) -> None:
    """Shares of the 37 classified stories, over the classes the circuit has a place for."""
    found = catalogue(circuit)
    for name in ("joints and wires", "contacts", "shorts", "fuse", "awake", "nothing broken"):
        got = sum(h.prior for h in found if h.share_class == name) / SINGLES_TOTAL
        assert got == pytest.approx(shares()[name]), name


@pytest.mark.parametrize(
    "text",
    [
        "W1 open",
        "W1 resistance",
        "F1 open",
        "F1 missing",
        "F1 wrong rating 20 A",
        "K1 stuck on",
        "K1 stuck off",
        "K1.87 resistance",
        "K1.coil open",
        "K1 missing",
        "S1 stuck off",
        "S1 stuck on",
        "S1 interlock open",
        "X1.1 open",
        "X1.1 resistance",
        "X1.1.a to X1.2.a",
        "X1.1.b swapped with X1.2.b",
        "G1 open",
        "G1 resistance",
        "G1.1 open",
        "L1 open",
        "M1 seized",
        "M1 open",
        "ECM dead",
        "ECM stays awake",
        "ECM woken",
        "ECM.main dead",
        "ECM.main always on",
        "ECM.15 dead",
        "BAT has emf 11.844 V",
        "K1 has coil 4.25 ohm",
        "L1.in to L1.out",
    ],
)
def test_what_goes_wrong_with_each_kind_is_there(circuit: Circuit, text: str) -> None:
    wanted = parse_fault(circuit, text)
    assert any(h.faults == wanted for h in catalogue(circuit)), wanted


def test_every_fault_can_be_said_and_read_back(circuit: Circuit) -> None:
    for h in catalogue(circuit):
        if h.faults and not h.id.endswith(":wrong-bulb"):  # `rated` names volts and watts of a lamp alike
            assert parse_fault(circuit, fault_text(circuit, h.faults)) == h.faults


def test_nothing_broken_is_a_cause_without_faults(circuit: Circuit) -> None:
    assert [h.id for h in catalogue(circuit) if not h.faults] == [NOTHING]


def test_water_joins_only_neighbours_in_the_drawn_rows(circuit: Circuit) -> None:
    x1 = next(p for p in circuit.parts if p.name == "X1")
    pairs = {(a, b) for a, b, _ in neighbour_pairs(circuit, x1)}
    assert ("1", "2") in pairs and ("2", "6") in pairs and ("1", "6") not in pairs


def test_a_blown_fuse_comes_with_a_short_behind_it_and_never_before_it(circuit: Circuit) -> None:
    f1 = next(p for p in circuit.parts if p.name == "F1")
    blown = [
        h for h in catalogue(circuit) if len(h.faults) == 2 and h.faults[0] == Fault("open", Term("F1", ""))
    ]
    assert len(blown) == len(beyond_fuse(circuit, f1)) > 3
    assert not [h for h in blown if h.faults[1].at.part in ("BAT", "W1", "F2", "M1")]
    alone = by_id(circuit)["F1:open"].prior
    assert sum(h.prior for h in blown) == pytest.approx(alone * 3 / 2)


def test_damp_work_and_the_technicians_word_move_priors(circuit: Circuit) -> None:
    before = by_id(circuit)
    assert before["X1.1:resistance"].prior > before["G1:resistance"].prior * 0.9
    worked = by_id(replace(circuit, worked_on=(WorkedOn("W2"),)))
    said = by_id(replace(circuit, likelier=(Likelier("G1", 3.0),)))

    def odds(of: dict[str, Hypothesis], a: str, b: str) -> float:
        return of[a].prior / of[b].prior

    far = "W4:open"
    assert odds(worked, "W2:open", far) == pytest.approx(5 * odds(before, "W2:open", far))
    assert odds(worked, "X1.1:open", far) == pytest.approx(5 * odds(before, "X1.1:open", far))
    assert odds(said, "G1:open", far) == pytest.approx(3 * odds(before, "G1:open", far))


def test_neighbours_do_not_reach_through_the_body(circuit: Circuit) -> None:
    w2 = next(p for p in circuit.parts if p.name == "W2")
    assert {p.name for p in neighbours(circuit, w2)} == {"S1", "K1", "ECM", "X1", "W6"}


def test_same_repair_same_group_and_minutes_reach_the_place(circuit: Circuit) -> None:
    found = by_id(circuit)
    assert found["K1:stuck_off"].group == found["K1.coil:open"].group != found["W1:open"].group
    assert found["X1.1:open"].repair_minutes == 15 + 10
    assert 0 < found["X1.1:open"].looks[0].false < found["X1.1:open"].looks[0].hit < 1


def test_a_short_to_the_supply_is_not_said_of_the_supply(circuit: Circuit) -> None:
    from amptrail.circuit.wiring import wiring

    w = wiring(circuit)
    plus = w.node(Term("BAT", "+"))
    assert not [
        h for h in catalogue(circuit) for f in h.faults if f.mode == "to_supply" and w.node(f.at) == plus
    ]


def test_lamps_of_one_cluster_may_be_bridged_in_their_holder() -> None:
    text = SHEET.replace("-- X1.2 -- L2 -- G1", "-- X1.2 -- L2 -- W3.in")
    circuit = parse(text)
    assert any(
        h.faults == (Fault("to_point", Term("L1", "in"), Term("L2", "in")),) for h in catalogue(circuit)
    )


def test_a_battery_post_may_be_open_or_nearly_so() -> None:
    """A clamp lost or full of oxide is no rarer than another bad joint: nothing above 10 ohm was known."""
    circuit = parse("battery BAT\nlamp L 12 V 5 W\npath BAT.+ -- L -- BAT.-\n")
    found = {h.id: h for h in catalogue(circuit)}
    assert "BAT:open" in found
    low, high = found["BAT:resistance"].severity or (0.0, 0.0)
    assert low <= 0.005 and high >= 1000.0


def test_a_fuse_may_be_too_large_or_too_small() -> None:
    """One burns the wire, the other blows with nothing wrong behind it."""
    circuit = parse("battery BAT\nfuse F1 20 A\nlamp L 12 V 5 W\npath BAT.+ -- F1 -- L -- BAT.-\n")
    texts = [fault_text(circuit, h.faults) for h in catalogue(circuit) if h.faults]
    assert "F1 wrong rating 40 A" in texts and "F1 wrong rating 10 A" in texts
