"""Readings: what is understood, what is refused, what is warned of."""

from __future__ import annotations

import pytest

from amptrail.circuit.model import Term
from amptrail.errors import InputError
from amptrail.sheet import Reading, parse, parse_readings, print_sheet
from amptrail.sheet.feeds import feed_text, parse_feed
from amptrail.sheet.words import term_text

CIRCUIT = parse(
    "battery BAT\nfuse F1 10 A\nrelay K4\nlamp L 12 V 5 W\nmodule ECM\nsplice S1\n"
    "path BAT.+ -- F1 -- S1 -- K4.30-87 -- L -- body\npath S1 -- K4.86-85 -- ECM.1\n"
    "lamp `PED.up`\npath S1 -- `PED.up` -- body\nmust lamp-lit: L.in 9 V or more in running\n"
    "must L: L.in 9 V or more in running\n"
)


def _one(text: str) -> Reading:
    (item,) = parse_readings(CIRCUIT, text).items
    return item


def test_a_line_is_taken_apart() -> None:
    r = _one("battery 12,4 V\nF1.out to body in running meter 11,9 V battery 11.8 V unsure while failing")
    assert (r.a, r.b, r.phase, r.instrument) == (Term("F1", "out"), Term("", "body"), "running", "meter")
    assert (r.value, r.unit, r.battery_v, r.quality, r.while_failing) == (11.9, "V", 11.8, ("unsure",), True)


def test_standing_battery_and_conditions_hold_until_taken_back() -> None:
    text = "battery 12 V\nwith K4 out, F1 pulled\n"
    text += "K4.30 in running meter 0 V\nwithout conditions\nL in running works"
    first, second = parse_readings(CIRCUIT, text).items
    assert first.conditions.pulled == ("K4", "F1") and second.conditions.pulled == ()
    assert first.battery_v == second.battery_v == 12.0


def test_times_counts_and_ranges() -> None:
    assert _one("S1.1 in running lamp lit > 70 s").at_least
    tried = _one("L in running works 7 of 10")
    assert (tried.ok, tried.tries) == (7, 10)
    swing = _one("F1 in running clamp 9 A to 3 A jumps when K4 moved")
    assert (swing.low, swing.high, swing.moved) == (3.0, 9.0, "K4")


def test_others_may_say_that_a_part_was_exchanged() -> None:
    for who in ("shop", "customer"):
        r = _one(f"{who} says K4 replaced, no change")
        assert (r.kind, r.a.part, r.word, r.whose) == ("replaced", "K4", "no change", who)
    assert _one("shop says F1 replaced").word is None


def test_a_socket_under_a_fitted_relay_is_warned_of() -> None:
    under = parse_readings(CIRCUIT, "K4.87 in running meter 12 V").warnings
    assert [w.code for w in under] == ["under-the-relay"]
    assert not parse_readings(CIRCUIT, "with K4 out\nK4.87 in running meter 12 V").warnings


def test_two_readings_that_cannot_both_hold_are_warned_of() -> None:
    told = parse_readings(CIRCUIT, "F1.in in running meter 12 V\nF1.in in running meter 3 V").warnings
    assert [(w.code, w.line) for w in told] == [("contradicts", 2)]


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("F1.in in runing meter 12 V", "unknown-phase"),
        ("F1.x in running meter 12 V", "unknown-terminal"),
        ("F8.in in running meter 12 V", "unknown-part"),
        ("F1.in in off ohmmeter -3 ohm", "impossible"),
        ("F1.in in running meter 3 A", "wrong-unit"),
        ("F1.in in running meter bright", "wrong-word"),
        ("F1.in in running lamp 12", "no-unit"),
        ("L in running works 9 of 7", "impossible"),
        ("F1.in in running meter 124 V", "impossible"),
        ("F1.in in running loaded 1240 V", "impossible"),
        ("battery 900 V", "impossible"),
        ("with feed J9", "unknown-feed"),
    ],
)
def test_what_cannot_be_is_refused(line: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_readings(CIRCUIT, "battery 12 V\n" + line)
    assert [(p.code, p.line) for p in caught.value.problems] == [(code, 2)]


@pytest.mark.parametrize(
    ("tail", "value", "unit"),
    [
        ("F1.in in running meter 11,9", 11.9, "V"),
        ("F1.in in running loaded 3", 3.0, "V"),
        ("F1.in in running scope 3", 3.0, "V"),
        ("F1 in asleep fuse-drop 0.0004", 0.0004, "V"),
        ("F1 in running clamp 2.5", 2.5, "A"),
        ("L.in to body in off ohmmeter 4", 4.0, "ohm"),
    ],
)
def test_a_bare_number_has_the_unit_of_its_instrument_and_earns_a_warning(
    tail: str, value: float, unit: str
) -> None:
    told = parse_readings(CIRCUIT, f"# remark\n{tail}\n")
    assert [(r.value, r.unit) for r in told.items] == [(value, unit)]
    assert [(w.code, w.line, w.severity) for w in told.warnings] == [("no-unit", 2, "warning")]
    assert f"taken as {unit}" in told.warnings[0].message


def test_a_bare_bound_has_the_unit_of_the_other() -> None:
    r = _one("F1.in in running meter 300 mV to 1")
    assert (r.low, r.high) == (0.3, 1.0)
    assert _one("battery 12\nF1.in in running meter 1 V battery 11").battery_v == 11.0


def test_a_function_works_or_does_not() -> None:
    no = _one("lamp_lit in running does not work while failing")
    assert (no.kind, no.a, no.word, no.while_failing) == ("works", Term("", "lamp-lit"), "no", True)
    tried = _one("shop says lamp-lit in running works 3 of 4")
    assert (tried.a.name, tried.ok, tried.whose) == ("lamp-lit", 3, "shop")
    assert _one("L in running works").a == Term("", "L")
    assert _one("L in running is dim").a == Term("L", "")


def test_names_in_back_quotes() -> None:
    first, second = parse_readings(
        CIRCUIT, "with `K4` out, `PED.up` unplugged\n`PED.up`.in in running meter 3 V\n"
        "without conditions\n`PED.up` in `running` is dim\n"
    ).items  # fmt: skip
    assert first.a == Term("PED.up", "in") and first.conditions.unplugged == ("PED.up",)
    assert second.a == Term("PED.up", "") and second.conditions.pulled == ()


WORDS = "meter lamp led loaded clamp scope hand eye bright dim dark nothing beeps silent warm hot cold unsure"
WORDS += (
    " fluctuates old mine shop customer works looks sounds clicks answers battery lit over same jumps range"
)


@pytest.mark.parametrize("name", WORDS.split())
def test_words_of_readings_are_names_in_sheets_and_in_readings(name: str) -> None:
    circuit = parse(
        f"battery BAT\nptc {name} cold 2 ohm\npath BAT.+ -- {name} -- body\n"
        f"place p{name}\nmust m: {name}.in 9 V or more in running\nfault F: {name} open\n"
    )
    assert circuit.parts[1].name == name and circuit.parts[1].said("cold_ohm") == 2.0
    assert parse(print_sheet(circuit)) == circuit
    r = parse_readings(circuit, f"`{name}`.in in running meter 3 V").items[0]
    assert r.a == Term(name, "in")


def test_a_base_names_the_only_phase_that_stands_on_it() -> None:
    head = "battery BAT\nphase start as cranking 3 s\nphase go as running 9 s\n"
    one = parse_readings(parse(head), "BAT.+ in cranking meter 9 V").items[0]
    assert one.phase == "start"
    with pytest.raises(InputError) as caught:
        parse_readings(parse(head + "phase tail as running 9 s\n"), "BAT.+ in running meter 9 V")
    assert [p.code for p in caught.value.problems] == ["unknown-phase"]


def test_the_end_of_a_run_between_two_terminals_is_taken_as_it_is_shown_and_as_it_is_written() -> None:
    circuit = parse("battery BAT\nfuse F1 10 A\npath BAT.+ -- [1 mm2 2 m] -- F1 -- body\n")
    run = next(p.name for p in circuit.parts if ">" in p.name)
    shown, written = f"{run}.out", term_text(Term(run, "out"))
    assert written != shown
    for text in (shown, written):
        assert parse_readings(circuit, f"{text} in running meter 3 V").items[0].a == Term(run, "out")
    with pytest.raises(InputError) as caught:
        parse_readings(circuit, f"{run}.ou in running meter 3 V")
    assert [p.code for p in caught.value.problems] == ["unknown-terminal"]


def test_a_function_told_at_one_point_is_meant_against_battery_minus() -> None:
    assert [(m.name, m.b) for m in CIRCUIT.musts] == [("lamp-lit", Term("BAT", "-")), ("L", Term("BAT", "-"))]


def test_a_run_that_a_feed_cuts_is_written_as_it_is_named() -> None:
    circuit = parse(
        "battery BAT\nconnector X1\nlamp L 12 V 5 W\npath BAT.+ -- [1 mm2 2 m] -- X1.1 -- L -- body\n"
    )
    run = next(p.name for p in circuit.parts if ">" in p.name)
    words = f"from BAT.+ to L.in wire 2.5 mm2 1 m cut {run}"
    assert run.endswith("X1.1.a")
    assert feed_text(parse_feed(circuit, words)) == words


@pytest.mark.parametrize(
    "said", ["meter 12 s", "lamp 12 s", "clamp lit 12 s", "ohmmeter 3 s", "loaded lit > 70 s"]
)
def test_a_time_is_told_of_a_light_and_of_nothing_else(said: str) -> None:
    with pytest.raises(InputError) as e:
        parse_readings(parse("battery BAT 12 V\nfuse F 3 A\npath BAT.+ -- F -- body\npath BAT.- -- body"),
                       f"F.in in running {said}")  # fmt: skip
    assert "lamp lit 12 s then dark" in e.value.problems[0].remedy


def test_more_volts_than_the_vehicle_has_is_a_slip_of_the_point_but_not_on_a_scope() -> None:
    circuit = parse("phase running 9 s\nbattery BAT 12.6 V\nfuse F1 5 A\nlamp L 12 V 5 W\n"
                    "path BAT.+ -- F1 -- L -- BAT.-\n")  # fmt: skip
    with pytest.raises(InputError) as caught:
        parse_readings(circuit, "battery 12.5 V\nF1.in in running meter 124 V\n")
    (p,) = caught.value.problems
    assert (p.line, p.column, p.nearest) == (2, 24, "12.4 V") and "scope" in p.remedy
    assert parse_readings(circuit, "F1.in in running scope 350 V\nF1.in in running meter 29 V\n").items


FUNCTIONS = parse(
    "phase running 9 s\nbattery BAT\nfuse F1 5 A\nlamp L 12 V 5 W\nmodule ECM\n"
    "path BAT.+ -- F1 -- L -- BAT.-\n"
    "path F1.out -- ECM.30\npath ECM.31 -- BAT.-\nECM.31 ground\nECM.30 supply 1 kohm awake 1 kohm asleep\n"
    "ECM awake while always\nmust light: L.in to L.out 9 V or more in running\n"
    "must awake: ECM awake in running\n"
)


def test_a_function_is_read_where_its_line_says() -> None:
    told = "`light` in running meter 11 V\nlight in running clamp 400 mA\nlight in running works\n"
    volts, amps, works = parse_readings(FUNCTIONS, told).items
    assert (str(volts.a), str(volts.b), volts.point) == ("L.in", "L.out", "light")
    assert (amps.a, amps.instrument, works.kind) == (Term("L", ""), "clamp", "works")


def test_a_function_without_a_point_says_how_it_is_told() -> None:
    with pytest.raises(InputError) as caught:
        parse_readings(FUNCTIONS, "`awake` in running meter 11 V\n")
    (p,) = caught.value.problems
    assert (p.code, p.line) == ("a-function", 1) and "awake in PHASE works" in p.remedy


@pytest.mark.parametrize("tool", ["lamp", "led", "meter"])
def test_what_flickers_alternates_on_every_instrument(tool: str) -> None:
    assert _one(f"F1.out in running {tool} alternates").word == "alternates"
