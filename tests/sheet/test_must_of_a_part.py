"""Volts of a part named alone in a `must` line are those across it; of one with more ends it is asked."""

from __future__ import annotations

import pytest

from amptrail.errors import InputError
from amptrail.jobs.judging.suspects import suspects
from amptrail.sheet import parse, print_sheet

SHEET = """vehicle "bench"
phase running 60 s
phase asleep 60 s
battery BAT 12.6 V 13 mohm
relay K1 coil 85 ohm
resistor LOAD 2.4 ohm
path BAT.+ -- LOAD -- body
path BAT.+ -- K1.86-85 -- body
path BAT.- -- body
must on: {} 9 V or more in running
"""


def test_a_part_alone_is_across_its_ends() -> None:
    circuit = parse(SHEET.format("LOAD"))
    assert circuit == parse(SHEET.format("LOAD.in to LOAD.out"))
    assert parse(print_sheet(circuit)) == circuit
    assert suspects(SHEET.format("LOAD"), "on in running does not work\n")["readings_used"] == 1


@pytest.mark.parametrize(("said", "named"), [("K1", "K1.30"), ("BAT", "BAT.+"), ("LOAD to body", "LOAD.in")])
def test_of_one_with_more_ends_it_is_asked_which(said: str, named: str) -> None:
    with pytest.raises(InputError) as e:
        parse(SHEET.format(said))
    assert e.value.problems[0].remedy == f"name one, such as {named}"
    assert e.value.problems[0].line == 10
