"""The fields of a sheet: from the tables, each filled alone, wrong figures told as the sheet tells them."""

from __future__ import annotations

import pytest

from amptrail.circuit.tables import table
from amptrail.errors import InputError
from amptrail.jobs.check import check
from amptrail.jobs.filling import fields, fill
from amptrail.jobs.starters import template, templates

RELAY = template("relay-load").sheet


def test_every_template_offers_what_its_tables_hold() -> None:
    for t in templates():
        got = fields(t.sheet)
        assert got["runs"] and {"battery"} <= {p["kind"] for p in got["parts"]}
        for p in (*got["parts"], *got["runs"]):
            rows = {r.name: r for r in table(p["kind"])}
            for f in p["fields"]:
                if f["attribute"] != "place":
                    assert f["label"] == rows[f["attribute"]].description
            told = [f for f in p["fields"] if f["said"] and not f["many"]]
            for f in told:  # what is shown is taken back as it is, and changes nothing
                assert fill(t.sheet, p["name"], f["attribute"], f["said"])["part"] == p


def test_a_figure_with_or_without_its_unit_and_none_at_all() -> None:
    for typed, line in (("20", "fuse F_LOAD 20 A at front"), ("7,5 A", "fuse F_LOAD 7.5 A at front"),
                        ("500 mA", "fuse F_LOAD 0.5 A at front"), ("", "fuse F_LOAD at front")):  # fmt: skip
        text = fill(RELAY, "F_LOAD", "rating_a", typed)["sheet"]
        assert line in text.splitlines()
    told = next(p for p in check(text)["parts"] if p["name"] == "F_LOAD")
    assert "rating_a" in told["unconfirmed"] and check(text)["exit"] == 0
    both = fill(RELAY, "KEY", "closed_in", "Running")["sheet"]
    assert "switch KEY closed in running at dash" in both
    assert "relay K1 layout B coil" not in both
    assert "layout B" in fill(RELAY, "K1", "layout", "b")["sheet"]


@pytest.mark.parametrize(
    ("part", "name", "typed", "words"),
    [
        ("F_LOAD", "rating_a", "900", "give a value from 0.1 to 500 A"),
        ("F_LOAD", "rating_a", "15 V", "rated current is in A, not in V"),
        ("F_LOAD", "rating_a", "much", "much is no figure"),
        ("F_LOAD", "rating_a", "15 A # at", "is no figure"),
        ("F_LOAD", "place", "frnt", "did you mean: front"),
        ("K1", "layout", "C", "expected: A, B"),
        ("BAT.+>KEY.in", "colour", "R`D", "use letters and figures"),
        ("F_LOAD", "volts", "3", "a fuse has no field volts"),
        ("F_LOUD", "rating_a", "3", "did you mean: F_LOAD"),
        ("KEY", "closed_in", "sometimes", "is no phase of this sheet"),
        ("F_LOAD", "ohm", "nan", "is no figure"),
    ],
)
def test_what_cannot_be_is_told_beside_the_field(part: str, name: str, typed: str, words: str) -> None:
    with pytest.raises(InputError) as e:
        fill(RELAY, part, name, typed)
    assert words in str(e.value)
