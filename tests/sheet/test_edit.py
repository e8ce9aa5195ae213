"""One thing said of one part is changed in the text, and nothing else is."""

from __future__ import annotations

import difflib

import pytest

from amptrail.circuit.model import Value
from amptrail.circuit.tables import table
from amptrail.errors import InputError
from amptrail.jobs.starters import templates
from amptrail.sheet import parse
from amptrail.sheet.edit import with_said

SHEET = """battery BAT 12.6 V at front # seen
place front 2 min
phase running 10 s
phase asleep 60 s
fuse F1   15 A at front    # as on the lid
switch SW closed in running "by the door" at front
lamp L
path BAT.+ -- [] -- F1 -- [W2: RD] -- SW -- [1 mm2 2 m] -- [W2B: 1 mm2] -- L -- body
path BAT.- -- body
"""


@pytest.mark.parametrize(
    ("part", "name", "said", "line"),
    [
        ("F1", "rating_a", 20.0, "fuse F1   20 A at front    # as on the lid"),
        ("F1", "rating_a", None, "fuse F1 at front    # as on the lid"),
        ("F1", "ohm", 0.005, "fuse F1   15 A 5 mohm at front    # as on the lid"),
        ("f1", "place", None, "fuse F1   15 A    # as on the lid"),
        ("L", "rated_w", 21.0, "lamp L 21 W"),
        ("L", "place", "front", "lamp L at front"),
        ("SW", "closed_in", ("running", "asleep"), 'SW closed in running, asleep "by the door" at front'),
        ("BAT.+>F1.in", "area_mm2", 2.5, "[2.5 mm2] -- F1 -- [W2: RD]"),
        ("W2", "colour", "RD/YE", "-- [W2: `RD/YE`] --"),
        ("W2", "length_m", 3.0, "-- [W2: RD 3 m] --"),
        ("W2B", "area_mm2", None, "-- [W2B:] -- L"),
    ],
)  # fmt: skip
def test_the_statement_alone_is_changed(part: str, name: str, said: Value | None, line: str) -> None:
    sheet = SHEET.replace("[1 mm2 2 m] -- [W2B", "[W3: 1 mm2 2 m] -- [W2B")
    text, _ = with_said(sheet, part, name, said)
    rows = [d[2:] for d in difflib.ndiff(sheet.splitlines(), text.splitlines()) if d.startswith("+ ")]
    assert len(rows) == 1 and line in rows[0]


def test_every_figure_of_every_template_can_be_said_and_left_out_again() -> None:
    """What the text then says is what the model says (`with_said` compares), for each table of each kind."""
    seen = set()
    for t in templates():
        for part in parse(t.sheet).parts:
            for row in table(part.kind):
                if (part.kind, row.name) in seen or not isinstance(row.default, float):
                    continue
                seen.add((part.kind, row.name))
                with_it, _ = with_said(t.sheet, part.name, row.name, row.default)
                without, circuit = with_said(with_it, part.name, row.name, None)
                assert next(p for p in circuit.parts if p.name == part.name).said(row.name) is None
                assert len(without.splitlines()) == len(t.sheet.splitlines())
    assert len(seen) > 30


def test_what_would_mean_something_else_is_refused() -> None:
    sheet = SHEET.replace("[1 mm2 2 m] -- [W2B", "[] -- J -- [W2B").replace("lamp L\n", "lamp L\njoint J\n")
    with pytest.raises(InputError) as e:
        with_said(sheet, "SW.out>J.in", "colour", "W2")  # [W2] is the wire W2 itself
    assert "W2" in str(e.value)
    with pytest.raises(InputError, match="no part is called F9"):
        with_said(sheet, "F9", "rating_a", 3.0)
