"""Minutes of a job from the times of its entries, against days made by hand."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from amptrail.jobs.log.minutes import spent
from amptrail.sheet import parse
from amptrail.store import Entry

CIRCUIT = parse(
    """
place console 1 min
place tail 5 min
battery BAT 12.6 V at console
fuse F1 10 A at console
lamp A 12 V 21 W at tail
ground G1
path BAT.+ -- F1 -- A -- G1
path BAT.- -- body
"""
)


def at(minute: float, kind: str = "note", **data: Any) -> Entry:
    seconds = round(minute * 60)
    when = f"2026-11-25T{8 + seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}+00:00"
    return Entry("gate", f"e{minute}{kind}{data.get('text', '')}", kind, when, data or {"text": "x"})


def minutes(*entries: Entry) -> dict[str, float]:
    return {s.what: s.minutes for s in spent(entries, CIRCUIT)}


def test_a_morning() -> None:
    """10 min to the first reading and 4 to the next, both at the console; 7 to one at the tail; told: 25 min
    of repair though the clock says 40; 3 min to the closing word."""
    found = spent(
        (
            at(0, "intake", text="dim"), at(10, "reading", text="F1.in in running meter 13.9 V"),
            at(14, "reading", text="F1.out in running meter 13.8 V"),
            at(21, "reading", text="A.in in running meter 9 V"),
            at(61, "repair", text="new eye", minutes=25.0), at(64, "close"),
        ),
        CIRCUIT,
    )  # fmt: skip
    assert [(s.what, s.minutes, s.places) for s in found] == [
        ("test", 21, (("console", 14), ("tail", 7))), ("repair", 25, ()), ("verify", 3, ()),
    ]  # fmt: skip


def test_waiting_for_sleep_is_not_testing() -> None:
    """35 min to the first reading asleep are the wait; the next one, 2 min later, is a test again."""
    said = (at(0, "reading", text="F1.in in running meter 13.9 V"),
            at(35, "reading", text="BAT.- in asleep clamp 0.2 A"),
            at(37, "reading", text="F1.in in asleep meter 12.5 V"))  # fmt: skip
    assert minutes(*said) == {"wait": 35, "test": 2}


def test_a_long_silence_is_a_pause() -> None:
    assert minutes(at(0), at(46, "reading", text="A.in in running meter 9 V")) == {}
    assert minutes(at(0), at(44, "reading", text="A.in in running meter 9 V")) == {"test": 44}


def test_a_clock_that_was_set_back_counts_nothing() -> None:
    assert minutes(at(60), at(10, "repair", text="x"), at(20, "repair", text="y")) == {"repair": 10}


def test_the_word_of_a_person_stands() -> None:
    base = (at(0), at(20, "repair", text="x"))
    assert minutes(*base, at(21, "time", what="repair", minutes=5)) == {"repair": 5}
    assert minutes(*base, at(21, "time", what="repair", minutes=5, more=True)) == {"repair": 25}
    twice = (at(21, "time", what="ferry", minutes=5), at(22, "time", what="ferry", minutes=7))
    assert minutes(*base, *twice) == {"repair": 20, "ferry": 7}
    (hand,) = spent((at(0, "time", what="drive", minutes=12),), None)
    assert hand.by_hand


def test_what_was_taken_back_took_no_time() -> None:
    gone = Entry("gate", "u", "undo", at(21).at, {"entry": at(20, "repair", text="x").id})
    assert minutes(at(0), at(20, "repair", text="x"), gone) == {}


@given(
    st.lists(
        st.tuples(st.floats(0, 600), st.sampled_from(["reading", "repair", "note", "close"])), max_size=12
    )
)
def test_never_more_than_the_day_had(day: list[tuple[float, str]]) -> None:
    """However the times are ordered, minutes are never negative, and in order never more than passed."""
    found = spent([at(m, k) for m, k in day], CIRCUIT)
    assert all(s.minutes > 0 for s in found)
    ordered = sorted(day)
    total = sum(s.minutes for s in spent([at(m, k) for m, k in ordered], CIRCUIT))
    assert total <= (ordered[-1][0] - ordered[0][0] if ordered else 0) + 2  # each kind rounded
