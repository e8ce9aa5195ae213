"""Every table: read whole, sourced row by row, and the words of the trade."""

from __future__ import annotations

import pytest

from amptrail.errors import InputError
from amptrail.reference import cautions
from amptrail.reference.cautions import all_cautions
from amptrail.reference.priors import priors, shares, trait_factor
from amptrail.reference.rows import TABLES, rows, status
from amptrail.reference.words import colour_words, dtc_bytes, dtc_title, terminals


@pytest.mark.parametrize("table", TABLES)
def test_every_row_has_source_and_status(table: str) -> None:
    assert rows(table)
    for r in rows(table):
        assert r["source"].strip() and status(r["status"]) and None not in r, r


def test_class_shares() -> None:
    """37 hand-classified public stories: 16, 6, 5, 2, 2 and 6 of 37."""
    counts = {"joints and wires": 16, "contacts": 6, "shorts": 5, "fuse": 2, "awake": 2}
    for name, n in counts.items():
        assert shares()[name] == pytest.approx(n / 37, abs=0.006)
    assert sum(shares().values()) == pytest.approx(1.0)
    assert {p.share_class for p in priors()} <= set(shares())


def test_traits_make_likelier_only_what_they_can_harm() -> None:
    assert trait_factor("damp", "joints and wires") > 1
    assert trait_factor("damp", "awake") == 1
    assert trait_factor("worked-on", "contacts") == 5
    assert trait_factor("blue", "contacts") == 1


def test_terminals_and_colours() -> None:
    """DIN 72552 and IEC 60757."""
    assert "battery positive" in terminals()["30"] and "ground" in terminals()["31"]
    assert colour_words("RDBU") == "red-blue" and colour_words("bk/wh") == "black with white stripe"
    assert colour_words("GNYE") == "green-and-yellow"
    for bad in ("", "XX", "RDB"):
        with pytest.raises(InputError):
            colour_words(bad)


@pytest.mark.parametrize(
    ("code", "value"), [("P0562", 0x0562), ("U0100", 0xC100), ("B1318", 0x9318), ("C0035", 0x4035)]
)
def test_trouble_code_bytes(code: str, value: int) -> None:
    """SAE J2012 coding, worked out by hand (computed)."""
    assert dtc_bytes(code) == value


def test_trouble_code_titles() -> None:
    assert dtc_title("p0562") == "system voltage low" and dtc_title("P1234") is None
    with pytest.raises(InputError):
        dtc_title("P05")


def test_cautions_come_gravest_first_and_once() -> None:
    got = cautions(["reach:pierce", "class:restraint", "phase:cranking", "class:restraint", "no such tag"])
    assert [c.level for c in got] == ["never", "check", "note"]
    assert {c.applies_to for c in all_cautions()} >= {"class:" + c for c in
        ("restraint", "high-voltage", "brakes", "steering", "immobiliser", "fuel")}  # fmt: skip
