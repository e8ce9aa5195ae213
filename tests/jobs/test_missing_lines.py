"""Every line missing on a sheet has a test offered, and what it shows on a vehicle so broken ticks the line.

The vehicle answers by the solver; that an ohmmeter can tell is Ohm's law, worked out beside the check.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from benchmarks.dead_parts import filled

from amptrail.circuit.model import Circuit, Fault
from amptrail.jobs.judging.condemn import sheet_of
from amptrail.jobs.judging.proofsheet import Proof, body, proof_of
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.judging.worded import worded
from amptrail.sheet import parse, parse_fault

DEMOS = Path(__file__).parents[2] / "demos"
DEAD_PUMP = "pump-runs in ignition-on does not work\n"
MOST_ROUNDS = 4


def demo(name: str) -> Circuit:
    return parse((DEMOS / f"{name}.sheet").read_text(encoding="utf-8"))


def proof(c: Circuit, text: str, part: str) -> Proof:
    return proof_of(judge(c, text, "off"), part, others=False)


def answered(c: Circuit, truth: tuple[Fault, ...], text: str, part: str) -> tuple[Proof, str, set[str]]:
    """Rounds of tests entered, the same twice where it is asked twice, and the instruments used."""
    tools: set[str] = set()
    for _ in range(MOST_ROUNDS):
        p = proof(c, text, part)
        assert p.sheet is not None
        for line, (tests, cannot) in zip(p.sheet.lines, p.tests, strict=True):
            assert line.state == "shown" or (tests and cannot == 0), (line.demand, cannot)
            tools |= {t.test.instrument for t in tests}
            text += "".join(filled(c, truth, t) + "\n" for t in tests)
        if p.sheet.proven:
            break
    return p, text, tools


@pytest.mark.parametrize(
    ("name", "truth", "start", "part", "tool"),
    [
        # what blew it? a lamp in its place: about 0.2 V behind it if chafed, what the loads leave if not
        ("starter", "F_IGN open", "cranks in cranking does not work\n", "F_IGN", "meter"),
        # a link carries too much for a lamp in its place: behind it, without power, loads or a short
        ("sensors", "FL1 open", "five-volts in ignition-on does not work\n", "FL1", "ohmmeter"),
        # two contacts in one path read alike at every point but across themselves
        ("blower", "K7.87 resistance 20 ohm", "speed-one in speed1 does not work\n", "K7", "meter"),
    ],
)  # fmt: skip
def test_what_is_missing_is_asked_for_and_the_answer_ticks_it(
    name: str, truth: str, start: str, part: str, tool: str
) -> None:
    c = demo(name)
    p, text, tools = answered(c, tuple(parse_fault(c, truth)), start, part)
    assert p.sheet is not None and p.sheet.proven, (
        [(x.demand.words, x.state) for x in p.sheet.lines if x.state != "shown"] if p.sheet else None, text,
    )  # fmt: skip
    assert tool in tools


def test_a_wire_read_without_power_is_neither_open_nor_shorted() -> None:
    # along the coil: 85 ohm of K4 beside its suppressor (some 680 ohm) = 76 ohm, 8 ohm more of STOP to metal;
    # an open wire would read over range to F3, a chafed one 0.05 ohm to metal
    c = demo("sprayer")
    whole = "ECM.mr to F3.out in off ohmmeter 76 ohm\nECM.mr to BAT.- in off ohmmeter 84 ohm\n"
    supply = "ECM.mr to BAT.+ in off ohmmeter 12 kohm\n"
    shorted = "ECM.mr to BAT.- in off ohmmeter 0.1 ohm\n"

    def wire(text: str) -> str:
        s = sheet_of(judge(c, DEAD_PUMP + text, "off"), "ECM")
        assert s is not None
        return next(x.state for x in s.lines if x.demand.what == "wire")

    assert wire("") == "missing" and wire(whole) == "missing"
    assert wire(whole + supply) == "shown"
    assert wire(shorted + supply) == "missing"


def test_a_look_at_the_number_ticks_the_right_part() -> None:
    c = demo("sprayer")

    def fitted(text: str) -> str:
        s = sheet_of(judge(c, DEAD_PUMP + text, "off"), "ECM")
        assert s is not None
        return next(x.state for x in s.lines if x.demand.what == "fitted")

    assert fitted("") == "missing" and fitted("ECM in off looks right\n") == "shown"


def test_a_reading_without_power_says_so_and_warns() -> None:
    c = demo("sensors")
    dead = "FL1.in in running meter 14.1 V\nFL1.out in ignition-on meter 0.00 V\n"
    dead += "five-volts in ignition-on does not work\nF_ECM.in in ignition-on meter 0.00 V\n"
    j = judge(c, dead, "off")
    got = body(j, proof_of(j, "FL1", others=False))
    tests = [t for x in got["lines"] for t in x["tests"] if t["instrument"] == "ohmmeter"]
    assert tests and all(t["phase"] == "off" and " in off ohmmeter {value}" in t["line"] for t in tests)
    assert all(any("power off" in x for x in t["cautions"]) for t in tests)
    asked = worded(c, tests[0], [tests[0]["good"]])
    assert asked["state"] == "battery off" and asked["ask"]["question"].startswith("Ohmmeter on")
