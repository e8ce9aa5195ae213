"""A small sample of `python -m benchmarks.hidden_faults`: what the words mean, and three faults found."""

from __future__ import annotations

import pytest
from benchmarks import hidden_faults as h
from benchmarks.whole_jobs import circuits, jobs
from driving import needs_browser

CARD = """Go to fuse-box
behind the step
speed2: key on, engine off, BSW at s2
about 3 min
Loaded lead on K7.87
First take out relay K7
relay K7, pin 87, in the empty socket · its other end on K7.30
Afterwards put the relay back
not sure
Meter on F1.out
Go to headliner
"""


def test_the_words_of_a_card_are_a_reading() -> None:
    a = h.asked(CARD, ["V", "mV"])
    assert a is not None
    assert a.line == "with K7 out\nK7.87 to K7.30 in speed2 loaded {value}\nwithout conditions"
    assert h.asked("Stop testing: K7 stuck off", []) is None
    assert h.keys_of("-1.50 V") == ["±", "1", ".", "5", "0", "V"]
    assert h.keys_of("sounds silent") == ["silent"]


@needs_browser
@pytest.mark.parametrize("seed", [0])
def test_three_faults_are_found_by_the_visible_text(seed: int) -> None:
    sheets = circuits(["blower", "camper", "starter"])
    with h.served() as address, h.phone_page() as page:
        h.warmed(page, address, *next(iter(sheets.items())))
        page.set_default_timeout(120_000)
        for name, sheet in sheets.items():
            job = next(iter(jobs(name, sheet, 1, 0.0, seed)))
            found = h.one(page, address, job, f"sample-{name}")
            assert found.good, h.row(found) + found.said
