"""Before a part is called dead: what is shown by which reading, what is missing, and the test that shows it.

The rule is the trade's (feed and ground good under load while the part fails; for a module every supply,
ground and input, the output absent after a key cycle, its wire whole): DESIGN section 8, issue 4, common
practice. Whether a reading *can* show a line is Ohm's law, worked by hand beside the check.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.dead_parts import filled, walked

from amptrail.circuit.model import Circuit
from amptrail.errors import InputError
from amptrail.jobs.judging.condemn import Sheet, sheet_of
from amptrail.jobs.judging.nexttest import next_tests
from amptrail.jobs.judging.proofsheet import condemn, proof_of
from amptrail.jobs.judging.suspects import judge
from amptrail.sheet import parse, parse_fault

DEMOS = Path(__file__).parents[2] / "demos"
DEAD_PUMP = "battery 12.5 V\nPUMP in ignition-on does not work\n"


SENSORS = (DEMOS / "sensors.sheet").read_text()


def demo(name: str) -> Circuit:
    return parse((DEMOS / f"{name}.sheet").read_text())


def states(s: Sheet | None) -> dict[str, str]:
    assert s is not None
    return {f"{x.demand.what} {x.demand.at or ''}".strip(): x.state for x in s.lines}


def sheet(c: Circuit, text: str, part: str) -> Sheet | None:
    return sheet_of(judge(c, text, "off"), part)


def test_a_meter_on_a_lead_that_carries_nothing_shows_no_feed() -> None:
    # a burnt-out pump draws nothing, so through 3 ohm of green terminal a 10 Mohm meter still reads 12.5 V
    # (12.5 x 10e6 / (10e6 + 3) = 12.499996): nobody can tell. A 3 ohm load would read 12.5 x 3 / 6 = 6.2 V.
    c = demo("sprayer")
    idle = DEAD_PUMP + "PUMP.in in ignition-on meter 12.4 V\nF9 in ignition-on clamp 0 A\n"
    assert states(sheet(c, idle, "PUMP"))["feed PUMP.in"] == "missing"
    loaded = idle + "PUMP.in in ignition-on loaded 12.1 V\n"
    got = sheet(c, loaded, "PUMP")
    assert states(got)["feed PUMP.in"] == "shown"
    assert got is not None
    by = next(x.by for x in got.lines if x.demand.what == "feed")
    assert "loaded 12.1 V" in by[0].text  # the reading that shows it is named
    starved = DEAD_PUMP + "PUMP.in in ignition-on loaded 6.2 V\n"
    assert states(sheet(c, starved, "PUMP"))["feed PUMP.in"] == "not so"


def test_what_was_read_while_it_worked_proves_nothing() -> None:
    c = demo("sprayer")
    text = DEAD_PUMP + "PUMP.in to PUMP.out in ignition-on loaded 12.1 V"
    assert states(sheet(c, text + "\n", "PUMP"))["feed PUMP.in"] == "shown"
    assert states(sheet(c, text + " while working\n", "PUMP"))["feed PUMP.in"] == "missing"


@pytest.mark.parametrize(
    ("name", "truth", "start", "part"),
    [
        ("sprayer", "PUMP open", DEAD_PUMP, "PUMP"),
        ("sprayer", "X7.4 resistance 20 ohm", DEAD_PUMP, "X7"),
        ("sprayer", "K4 stuck off", DEAD_PUMP, "K4"),
        ("sprayer", "ECM.pump dead", DEAD_PUMP, "ECM"),
        ("camper", "DOOR_S stuck on", "battery 12.4 V\nF_BCM in asleep fuse-drop 1.0 mV\n", "DOOR_S"),
    ],
)  # fmt: skip
def test_the_tests_offered_prove_the_part_that_is_dead(name: str, truth: str, start: str, part: str) -> None:
    c = demo(name)
    p, _ = walked(c, parse_fault(c, truth), start, part)
    assert p.sheet is not None and p.sheet.proven, states(p.sheet)
    assert all(x.by for x in p.sheet.lines)  # every tick names its reading


@pytest.mark.parametrize(
    ("truth", "part", "shown_not"),
    [
        ("X7.4 resistance 20 ohm", "PUMP", "feed PUMP.in"),
        ("G2 resistance 20 ohm", "PUMP", "ground PUMP.out"),
        ("W14 open", "ECM", "wire ECM.mr"),
    ],
)
def test_a_part_that_is_whole_is_never_proven_dead(truth: str, part: str, shown_not: str) -> None:
    c = demo("sprayer")
    p, _ = walked(c, parse_fault(c, truth), DEAD_PUMP, part, most=1)
    assert states(p.sheet)[shown_not] != "shown"
    assert p.sheet is not None and not p.sheet.proven


def test_a_module_sheet_asks_for_all_of_it() -> None:
    p = proof_of(judge(demo("sprayer"), DEAD_PUMP, "off"), "ECM", others=False)
    asked = list(states(p.sheet))
    wanted = [
        "fails",
        "feed ECM.30",
        "ground ECM.31",
        "input ECM.15",
        "output ECM.mr",
        "wire ECM.mr",
        "fitted",
    ]
    assert set(wanted) <= set(asked)
    assert p.sheet is not None
    cranking = [x.demand.words for x in p.sheet.lines if "while cranking" in x.demand.words]
    assert cranking == ["ground ECM.31 good while cranking", "supply ECM.30 good while cranking"]
    for (tests, cannot), line in zip(p.tests, p.sheet.lines, strict=True):
        assert line.state == "shown" or tests or cannot, (
            line.demand.words
        )  # a test, or the plain word that none will do


def test_a_reference_is_read_with_its_sensors_unplugged() -> None:
    c = demo("sensors")
    everything = (DEMOS / "sensors.readings").read_text().splitlines(keepends=True)
    told = [x for x in everything if "unplugged" not in x]
    before = proof_of(judge(c, "".join(told[:4]), "off"), "ECM", others=False)
    assert states(before.sheet)["reference ECM.v5"] == "missing"
    assert before.sheet is not None
    k = next(i for i, x in enumerate(before.sheet.lines) if x.demand.what == "reference")
    (offer,), cannot = before.tests[
        k
    ]  # the sheet says never to probe the pin: a meter at the next plug will do
    assert cannot == 0 and offer.test.instrument == "meter"
    assert "X12.1.a in" in offer.line and "ECM.v5" not in offer.line
    assert states(sheet(c, "".join(everything), "ECM"))["reference ECM.v5"] == "shown"
    free = parse("\n".join(x for x in SENSORS.splitlines() if not x.startswith("never probe ECM.v5")))
    p = proof_of(judge(free, "".join(told[:4]), "off"), "ECM", others=False)
    line = filled(free, (), p.tests[k][0][0])
    assert "unplugged" in line
    assert states(sheet(free, "".join(told[:4]) + line + "\n", "ECM"))["reference ECM.v5"] == "shown"


def test_likely_is_not_proven() -> None:
    text_of = (DEMOS / "sprayer.sheet").read_text()
    text = DEAD_PUMP + "PUMP.in in ignition-on meter 12.4 V\nPUMP.out in ignition-on meter 0.0 V\n"
    got = condemn(text_of, text, "PUMP")
    assert got["probability"] > 0.9 and not got["proven"] and got["exit"] == 1
    told = next_tests(text_of, text)["to_prove"]
    assert told["part"] == "PUMP" and told["missing"] == got["missing"] == 2
    assert all("{value}" in t["line"] for x in told["lines"] for t in x["tests"])
    done = condemn(text_of, text + "PUMP.in to PUMP.out in ignition-on loaded 12.1 V\n", "PUMP")
    assert done["proven"] and done["exit"] == 0


def test_alternatives_are_counted_whatever_their_priors() -> None:
    text_of = (DEMOS / "sprayer.sheet").read_text()
    got = condemn(text_of, (DEMOS / "sprayer.readings").read_text())
    assert got["part"] == "G2"
    assert {"X7.5", "W12"} <= {a["text"].split()[0] for a in got["alternatives"]}
    for a in got["alternatives"]:
        assert a["test"] is None or a["test"]["good"] != a["test"]["bad"]


def test_what_cannot_be_condemned_is_said() -> None:
    c = demo("sprayer")
    with pytest.raises(InputError, match="no part is called PUPM") as e:
        proof_of(judge(c, DEAD_PUMP), "PUPM")
    assert e.value.problems[0].nearest == "PUMP"
