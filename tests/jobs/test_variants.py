"""Two drawings of one vehicle are carried together, and a test that tells them apart is offered."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.model import Fault, Term
from amptrail.cli.main import main
from amptrail.errors import InputError
from amptrail.faults import changes
from amptrail.jobs.base.figures import built
from amptrail.jobs.judging.nexttest import NextOptions, next_tests
from amptrail.jobs.judging.proofsheet import condemn
from amptrail.jobs.judging.suspects import judge, suspects
from amptrail.jobs.judging.visiting import visiting
from amptrail.jobs.solved.drawings import drawings
from amptrail.sheet import parse, print_sheet
from amptrail.solve import Tap, assemble, read, run

PLAIN = """vehicle "Pump switched by a relay"
phase ignition-on 10 s
phase running 300 s
phase asleep 3600 s
battery BAT 12.6 V 10 mohm
switch KEY positions off, on
KEY.30-15 closed at on
fuse F1 15 A
fuse F2 5 A
fuse F3 10 A
relay K1 coil 90 ohm
motor PUMP 2.4 ohm runs 5 A at 13 V
lamp WARN 12 V 3 W
ground G1
path BAT.+ -- [W1: RD 4 mm2 1 m] -- F1 -- K1.30-87 -- [W3: GN 2.5 mm2 4 m] -- PUMP -- G1
path W1.out -- KEY.30-15 -- F2 -- [W5: BK 0.75 mm2 1 m] -- K1.86-85 -- [W6: WH 0.5 mm2 2 m] -- body
path W1.out -- F3 -- WARN -- body
path BAT.- -- [W9: BK 16 mm2 0.5 m] -- body
must pump: PUMP.in to PUMP.out 9 V or more in running
reach K1.86 bolt
"""
VARIANTS = PLAIN + "variant B: path F3.out -- [W12: YE 0.75 mm2 1 m] -- K1.86\nvariant B drops W5\n"
DEAD = "pump in running does not work\n"


def _share(readings: str) -> dict[str, float]:
    return {d["name"]: d["probability"] for d in suspects(VARIANTS, readings)["drawings"]}


def test_a_sheet_without_variants_has_one_drawing_and_says_nothing_of_it() -> None:
    assert suspects(PLAIN, DEAD)["drawings"] == []
    assert next_tests(PLAIN, DEAD)["tells_drawings"] is None
    assert [d.circuit for d in drawings(parse(PLAIN))] == [parse(PLAIN)]


def test_a_variant_adds_its_paths_and_leaves_out_what_it_drops() -> None:
    """By the solver alone, on a sheet written out by hand."""
    moved = "F2\npath F3.out -- [W12: YE 0.75 mm2 1 m] -- K1.86-85"
    by_hand = parse(PLAIN.replace("F2 -- [W5: BK 0.75 mm2 1 m] -- K1.86-85", moved))
    laid = drawings(parse(VARIANTS))[1]
    assert laid.name == "B"
    for fault in ((), (Fault("open", Term("F3", "")),), (Fault("open", Term("F2", "")),)):
        volts = []
        for circuit in (by_hand, laid.circuit):
            net = assemble(circuit)
            runs = run(net, [tuple(c for f in fault for c in changes(net, f))])
            volts.append(read(net, runs, [Tap("K1.86"), Tap("PUMP.in"), Tap("WARN.in")]).value[0])
        assert volts[0] == pytest.approx(volts[1], abs=1e-4)


def test_beforehand_both_are_as_likely_and_a_reading_tells_them() -> None:
    before = _share("")
    assert before == {"as drawn": pytest.approx(0.5, abs=0.01), "B": pytest.approx(0.5, abs=0.01)}
    with_f3_out = "with F3 pulled\nK1.86 in ignition-on meter {} V\nwithout conditions\n"
    assert _share(with_f3_out.format("12.5"))["as drawn"] > 0.9
    assert _share(with_f3_out.format("0.00"))["B"] > 0.9


def test_causes_of_both_are_on_one_list_and_the_same_cause_once() -> None:
    fed = "F2.out in ignition-on meter 12.55 V\nK1.86 in ignition-on meter 0.00 V\n"
    fed += "WARN in ignition-on is bright\n"
    got = suspects(VARIANTS, DEAD + fed)
    first = got["suspects"][0]  # nothing that can be measured on both drawings knows one from the other
    assert {first["text"], *first["equivalent"]} == {"W5 open", "W12 open"}
    assert first["probability"] > 0.9
    texts = [s["text"] for s in got["suspects"]]
    assert len(texts) == len(set(texts))
    assert sum(s["probability"] for s in got["suspects"]) + got["rest"] == pytest.approx(1.0, abs=1e-9)


def test_the_test_that_tells_them_apart_is_offered_and_does() -> None:
    readings = DEAD + "F2.out in ignition-on meter 12.55 V\n"
    t = next_tests(VARIANTS, readings)["tells_drawings"]
    assert t is not None
    for o in t["outcomes"]:
        assert sum(d["probability"] for d in o["drawings"]) == pytest.approx(1.0)
    best = max(t["outcomes"], key=lambda o: max(d["probability"] for d in o["drawings"]))
    first = max(best["drawings"], key=lambda d: d["probability"])
    assert first["probability"] > max(_share(readings).values())


def test_without_evidence_for_a_variant_the_answers_are_those_of_the_sheet() -> None:
    """A variant that changes nothing leaves every suspect as likely as on the plain sheet."""
    same = PLAIN + "variant B: resistor SPARE 1 kohm\nvariant B: path F3.out -- SPARE -- body\n"
    plain, carried = suspects(PLAIN, DEAD), suspects(same, DEAD)
    one = {s["text"]: s["probability"] for s in plain["suspects"]}
    two = {s["text"]: s["probability"] for s in carried["suspects"]}
    for text in list(one)[:3]:
        assert two[text] == pytest.approx(one[text], rel=0.1)


def test_what_only_one_of_them_has_is_no_point_to_read_and_the_error_says_so() -> None:
    with pytest.raises(InputError) as e:
        suspects(VARIANTS, "W12 in ignition-on clamp 0.14 A\n")
    assert "built by variant B" in str(e.value.problems[0].remedy)


def test_a_part_is_proven_by_the_likelier_drawing() -> None:
    got = condemn(VARIANTS, DEAD + "PUMP.in to PUMP.out in running loaded 12.3 V\n", "PUMP")
    assert "shown" in {line["state"] for line in got["lines"]}
    j = judge(parse(VARIANTS), DEAD)
    assert j.leading in j.each
    assert sum(j.by_drawing) == pytest.approx(1.0)


def test_the_terminal_names_the_drawings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "v.sheet").write_text(VARIANTS, encoding="utf-8")
    (tmp_path / "v.readings").write_text(DEAD, encoding="utf-8")
    assert main(["suspects", str(tmp_path / "v.sheet"), str(tmp_path / "v.readings")]) == 0
    assert "by variant B" in capsys.readouterr().out
    assert main(["next", str(tmp_path / "v.sheet"), str(tmp_path / "v.readings")]) == 0
    assert "To tell by which drawing it is built" in " ".join(capsys.readouterr().out.split())


def test_the_sheet_keeps_its_variants() -> None:
    again = parse(print_sheet(parse(VARIANTS)))
    assert again.variants == parse(VARIANTS).variants


def test_the_page_of_a_job_says_it_too() -> None:
    """With a cause leading that is on one drawing only."""
    dropped = "with F2 pulled\nPUMP in running works\nwithout conditions\n"
    got = visiting(VARIANTS, DEAD + dropped + "F3.out in ignition-on meter 12.5 V\n", NextOptions())
    assert [d["name"] for d in got["weighed"]["drawings"]] == ["as drawn", "B"]
    assert built(got["weighed"]["drawings"]).startswith("Built as drawn")


def test_what_tells_them_apart_carries_its_cautions_too() -> None:
    """Read with the engine running, it says so, as every other test does."""
    running = VARIANTS.replace("phase ignition-on 10 s\n", "")
    got = next_tests(running, "pump in running does not work\nF2.out in running meter 12.55 V\n")
    told = got["tells_drawings"]
    assert told is not None
    assert told["phase"] in ("running", "asleep")
    tests = [t for v in got["visits"] for t in v["tests"]]
    same = [t for t in tests if t["line"] == told["line"]]
    assert all(t["cautions"] == told["cautions"] for t in same)
    assert told["phase"] == "asleep" or any("Engine running" in c for c in told["cautions"])
