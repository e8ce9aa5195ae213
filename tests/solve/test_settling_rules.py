"""The rules of the discrete state that the neutral format has no words for, each on a sheet of its own.

Source of the rules: the project's own docs (docs/sheet.md, design/0001); figures worked out by hand from
the laws of the parts. What an expected value rests on stands beside it.
"""

from __future__ import annotations

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.jobs.solved.feeds import fitted
from amptrail.sheet import parse
from amptrail.solve import RACE, SETTLED, Change, Kind, assemble, run

FRAME = """
vehicle "bench"
battery BAT 12 V 10 mohm
joint STRAP 1 mohm
path BAT.- -- STRAP -- body
"""


def expect(sheet: str, *more: str) -> list[dict]:  # type: ignore[type-arg]
    got = answer(["expect", "s.sheet", "--nominal", *more], Files({"s.sheet": sheet}))
    assert got["exit"] == 0, got["problems"]
    return list(got["runs"][0]["phases"])


# ---- races ------------------------------------------------------------------------------------------
RACERS = (
    FRAME
    + """
phase ignition-on 10 s
phase asleep 60 s
switch S closed in ignition-on
relay K1 coil 85 ohm pulls 7 V drops 3 V
relay K2 coil 85 ohm pulls 7 V drops 3 V
path BAT.+ -- S -- K1.30-87a -- K2.86-85 -- body
path S.out -- K2.30-87a -- K1.86-85 -- body
"""
)


def test_two_relays_that_lock_each_other_out_are_a_race_with_both_its_ends() -> None:
    """Each is fed through the other's break contact: whoever is first stays. By common practice a race is
    told."""
    on, _ = expect(RACERS, "--at", "K1.86")
    assert on["status"] == "race"
    assert on["state"]["relays_energised"] == ["K1"]  # one part at a time in the order of the sheet
    assert [x["relays_energised"] for x in on["alternatives"]] == [["K1"], ["K2"]]


def test_a_race_is_no_longer_one_when_one_racer_is_dead() -> None:
    on, off = expect(RACERS, "--fault", "K1.coil open", "--at", "K1.86")
    assert (on["status"], on["alternatives"]) == ("settled", [])
    assert on["state"]["relays_energised"] == ["K2"]
    assert off["status"] == "settled"


def test_the_parts_of_a_feed_settle_first() -> None:
    """The same race, one of the relays added by a feed: the feed's comes first, though the sheet's is
    older."""
    sheet = FRAME + """
phase ignition-on 10 s
phase asleep 60 s
switch S closed in ignition-on
relay K1 coil 85 ohm pulls 7 V drops 3 V
relay K9 coil 85 ohm pulls 7 V drops 3 V
path BAT.+ -- S -- K9.30-87 -- K9.86-85 -- body
path K1.86-85 -- body
path S.out -- K1.30
feed J1 "a relay that races"
J1 adds relay JK coil 85 ohm pulls 7 V drops 3 V
J1 adds path K1.87a -- JK.86-85 -- body
J1 adds path S.out -- JK.30-87a -- K1.86
"""  # fmt: skip
    net = assemble(fitted(parse(sheet), "J1"))
    runs = run(net, [()])
    assert runs.status[0, 0] == RACE
    assert runs.state(0, 0).relays_energised == ("JK",)
    assert [s.relays_energised for s in runs.alternatives(0, 0)] == [("JK",), ("K1",)]


def test_a_relay_that_cuts_its_own_coil_chatters_and_is_named() -> None:
    """A ring of one reversal has no state at rest (CHECKS A15: an odd number of reversals cycles)."""
    sheet = FRAME + "phase ignition-on 10 s\nphase asleep 60 s\nswitch S closed in ignition-on\n"
    sheet += "relay K1 coil 85 ohm pulls 7 V drops 3 V\npath BAT.+ -- S -- K1.30-87a -- K1.86-85 -- body\n"
    on, off = expect(sheet, "--at", "K1.86")
    assert (on["status"], on["chatter"]) == ("chatter", ["relay K1"])
    assert off["status"] == "settled"


def test_more_timers_than_can_be_followed_are_no_answer() -> None:
    """A flasher of 2 x 80 ms: 1 s of it is lived through; the end of 3,600 s is not known, and that is
    said."""
    sheet = FRAME + """
phase ignition-on 1 s
phase asleep 3600 s
module M
M.31 ground
M lives above 6 V
M.30 supply 100 ohm awake 100 ohm asleep
M awake while always
M tick while (not tock) pulsed 0.08 s
M tock while (not tick) pulsed 0.08 s
M.q low-side q on 0.1 ohm leak 1 Mohm while tick
path BAT.+ -- M.30
path M.31 -- body
resistor R 100 ohm
path BAT.+ -- R -- M.q
"""  # fmt: skip
    on, off = expect(sheet, "--at", "M.q")
    # 60 s of sleep first, 375 whole periods: at 1 s the flasher is 40 ms into its seventh
    assert (on["status"], on["state"]["drivers_on"]) == ("settled", ["M.q"])
    assert off["status"] == "not_converged"
    assert off["readings"][0]["value"] is None and off["readings"][0]["flags"] == ["not_converged"]


# ---- drivers ----------------------------------------------------------------------------------------
def latching(words: str) -> str:
    return FRAME + f"""
phase first as ignition-on 10 s
phase second as ignition-on 10 s
phase third as ignition-on 10 s
phase asleep 60 s
switch ASK closed in first, third
module M
M.31 ground
M lives above 6 V
M.30 supply 100 ohm awake 10 kohm asleep
M.in input ask pull-down 10 kohm on at 5 V off at 3 V
M awake while always
M.q low-side q on 0.1 ohm leak 1 Mohm limit 2 A {words} while ask
path BAT.+ -- M.30
path M.31 -- body
path BAT.+ -- ASK -- M.in
resistor R 100 ohm
path BAT.+ -- R -- M.q
fault T "short": M.q to supply 0.5 ohm
"""  # fmt: skip


def tripped(words: str, fault: bool = True) -> list[bool]:
    phases = expect(latching(words), "--cycles", "2", "--at", "M.q", *(("--fault", "T") if fault else ()))
    return [p["state"]["drivers_tripped"] == ["M.q"] for p in phases]


def test_a_trip_is_forgotten_when_the_request_ends() -> None:
    assert tripped("") == [True, False, True, False]


def test_a_trip_that_latches_until_key_off_outlives_the_request() -> None:
    """Tripped in `first`, still so in `second` where nothing asks for it; asleep is key-off. The second of
    two cycles is read, so it has been forgotten once already."""
    assert tripped("latches until key-off") == [True, True, True, False]
    assert tripped("latches until key-off", fault=False) == [False] * 4


def test_a_half_bridge_pulls_down_while_awake_and_not_asked() -> None:
    """High 0.1 ohm when asked; low 0.1 ohm when awake and not; neither when asleep."""
    sheet = FRAME + """
phase first as ignition-on 10 s
phase second as ignition-on 10 s
phase asleep 60 s
switch KEY closed in first, second
switch ASK closed in first
module M
M.31 ground
M lives above 6 V
M.30 supply 100 ohm awake 10 kohm asleep
M.15 input ign pull-down 10 kohm on at 5 V off at 3 V
M.in input ask pull-down 10 kohm on at 5 V off at 3 V
M awake while ign
M.q half-bridge q from M.30 on 0.1 ohm leak 1 Mohm while ask
path BAT.+ -- M.30
path M.31 -- body
path BAT.+ -- KEY -- M.15
path BAT.+ -- ASK -- M.in
resistor UP 10 ohm
resistor DOWN 10 ohm
path BAT.+ -- UP -- M.q -- DOWN -- body
"""  # fmt: skip
    first, second, asleep = (
        p["readings"][0]["value"] for p in expect(sheet, "--at", "M.q", "--with", "meter")
    )
    parallel = 1 / (1 / 10 + 1 / 0.101)  # and the strap
    assert first == pytest.approx(12 * 10 / (10 + parallel), rel=5e-3)
    assert second == pytest.approx(12 * parallel / (10 + parallel), rel=5e-3)
    assert asleep == pytest.approx(6.0, rel=5e-3)


# ---- modules fed where they should not be -----------------------------------------------------------
CLAMPED = FRAME + """
phase ignition-on 10 s
phase asleep 60 s
switch KEY closed in ignition-on
module M
M.31 ground
M lives above 6 V
M.30 supply 100 ohm awake 10 kohm asleep
M.sn input sense pull-up 100 kohm to supply active low on at 1 V off at 2 V
M.sn clamps to M.30, ground
M awake while always
wire WG 1 mm2 1 m
wire WS 1 mm2 1 m
resistor SENSOR 22 ohm
path BAT.+ -- KEY -- WS -- M.30
path M.31 -- WG -- body
path M.sn -- SENSOR -- body
"""  # fmt: skip


def test_a_module_with_a_lifted_ground_lives_through_a_clamp_diode() -> None:
    """Its current leaves by the pin: ground pin one diode (0.6 to 0.9 V) above 22 ohm at about 12 V / 122
    ohm."""
    on, off = expect(CLAMPED, "--fault", "WG open", "--at", "M.31", "--at", "M.sn", "--with", "meter")
    ground, pin = (r["value"] for r in on["readings"])
    assert on["state"]["modules_awake"] == ["M"]
    assert pin == pytest.approx((12 - (ground - pin)) * 22 / 122, rel=2e-2)
    assert 0.6 < ground - pin < 0.9
    assert off["state"]["modules_awake"] == []


def test_a_module_without_supply_lives_through_a_clamp_diode_at_a_fed_pin() -> None:
    sheet = CLAMPED.replace("path M.sn -- SENSOR -- body", "path M.sn -- SENSOR -- BAT.+")
    on, off = expect(sheet, "--fault", "WS open", "--at", "M.30", "--with", "meter")
    assert on["state"]["modules_awake"] == ["M"] and off["state"]["modules_awake"] == ["M"]
    fed = off["readings"][0]["value"]
    assert fed == pytest.approx((12 - 0.75) * 100 / 122, rel=3e-2)  # one diode and 22 ohm below the battery


# ---- starts -----------------------------------------------------------------------------------------
def test_awake_start_fits_the_change_in_the_phase_it_names() -> None:
    """A self-holding relay pressed in `first`: its coil wire opened asleep never pulls it; opened after
    `first` drops it; a contact that fails afterwards changes nothing of what the button did."""
    sheet = FRAME + """
phase first as ignition-on 10 s
phase second as ignition-on 10 s
phase asleep 60 s
switch B closed in first
relay K coil 85 ohm pulls 7 V drops 3 V
path BAT.+ -- B -- K.86-85 -- body
path BAT.+ -- K.30-87 -- K.86
"""  # fmt: skip
    net = assemble(parse(sheet))
    cut = (Change(Kind.OPEN, "B"),)
    asleep, awake, late = (run(net, [cut], start, 1) for start in ("asleep", "awake:first", "awake:asleep"))
    assert [asleep.state(0, p).relays_energised for p in range(3)] == [(), (), ()]
    # pulled in before the button was cut: it holds itself through the following cycle
    assert [awake.state(0, p).relays_energised for p in range(3)] == [("K",)] * 3
    assert [late.state(0, p).relays_energised for p in range(3)] == [("K",)] * 3
    assert (awake.status == SETTLED).all()


# ---- phases that cannot come about ------------------------------------------------------------------
STARTING = FRAME.replace("10 mohm", "10 mohm cranking 60 mohm") + """
phase ignition-on 10 s
phase cranking 3 s with KEY at start
phase running 60 s
phase asleep 60 s
switch KEY positions off, on, start
KEY.30-50 closed at start
switch CLUTCH closed in cranking
relay KS coil 85 ohm pulls 7 V drops 3 V
wire W50 1 mm2 2 m
path BAT.+ -- KEY.30
path KEY.50 -- CLUTCH -- KS.86-85 -- body
path BAT.+ -- KS.30-87 -- W50 -- SOL -- body
must starter-turns: SOL.in to SOL.out 8 V or more in cranking; 1 V or less in ignition-on, running, asleep
interlock CLUTCH for starter-turns
""".replace("wire W50", "solenoid SOL 2 ohm\nwire W50")  # fmt: skip


def why(fault: str | None, sheet: str = STARTING) -> dict[str, str | None]:
    phases = expect(sheet, "--at", "KS.86", *(("--fault", fault) if fault else ()))
    assert all(p["unreachable"] == (p["unreachable_why"] is not None) for p in phases)
    return {p["phase"]: p["unreachable_why"] for p in phases}


def test_cranking_comes_about_through_the_chain_that_turns_the_engine() -> None:
    assert set(why(None).values()) == {None}


def test_an_interlock_that_keeps_the_engine_from_turning_is_named() -> None:
    got = why("CLUTCH stuck off")
    assert (
        got["cranking"] == "starter-turns does not come about: CLUTCH is open (interlock for starter-turns)"
    )
    assert got["running"] == f"the engine was never cranked: {got['cranking']}"
    assert got["ignition-on"] is None and got["asleep"] is None


def test_any_break_of_the_chain_keeps_the_engine_from_turning() -> None:
    assert why("W50 open")["cranking"] == "starter-turns does not come about"
    assert why("KEY stuck off")["cranking"] == "KEY cannot make its contact at start"


def test_cycle_says_the_same() -> None:
    for fault, told in ((None, []), ("CLUTCH stuck off", ["cranking"])):
        argv = ["cycle", "s.sheet", *(("--fault", fault) if fault else ())]
        got = answer(argv, Files({"s.sheet": STARTING}))
        assert got["exit"] == 0, got["problems"]
        assert got["unreachable"] == told


def test_what_was_not_asked_about_still_counts() -> None:
    sheet = STARTING
    (row,) = expect(sheet, "--phase", "running", "--fault", "CLUTCH stuck off", "--at", "KS.86")
    assert row["unreachable"]


def test_no_phase_is_called_unreachable_in_a_sheet_that_says_nothing_of_starting() -> None:
    sheet = FRAME + "phase cranking 3 s\nphase asleep 60 s\nresistor R 10 ohm\npath BAT.+ -- R -- body\n"
    assert [p["unreachable"] for p in expect(sheet, "--at", "R.in")] == [False, False]
