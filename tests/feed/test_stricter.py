"""Worst case beside nominal (JSON.md, feed): verdicts only become stricter, each difference in one line."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "feeds"))

from feed_table import Row, rows, sheet_text  # noqa: E402

JUMPERS = ("J1", "J2", "J3", "J4", "J5", "J6")
NOMINAL = ("--nominal", "--rules", "oracle")


def _sheet_of_the_jumpers() -> str:
    text = (ROOT / "authorities" / "oracle" / "c02_pump_lowside" / "circuit.json").read_text(encoding="utf-8")
    return str(answer(["convert", "c.json", "--to", "sheet"], Files({"c.json": text}))["text"])


def _asked(sheet: str, feed: str, *more: str) -> dict[str, Any]:
    got = answer(["feed", "s", "--feed", feed, *more], Files({"s": sheet}))
    assert got["exit"] in (0, 1), got["problems"]
    return dict(got["feeds"][0])


def _stricter(plain: dict[str, Any], worst: dict[str, Any]) -> None:
    assert plain["flags"] == worst["flags"], "the nominal flags know nothing of the worst case"
    if plain["verdict"] == "refused":
        assert worst["verdict"] != "holds", plain["refusals"]
    if plain["verdict"] != worst["verdict"]:
        assert worst["why"].strip()
        assert "\n" not in worst["why"]
        assert worst["refusals"] or worst["decides"]


@pytest.mark.parametrize("name", JUMPERS)
def test_the_oracles_jumpers(name: str) -> None:
    """The six cases of oracle/c02_pump_lowside/jumpers.json, as the format's circuit gives them."""
    sheet = _sheet_of_the_jumpers()
    _stricter(_asked(sheet, name, *NOMINAL), _asked(sheet, name))


@pytest.mark.parametrize("row", [r for r in rows() if r.purpose == "leave"][::6], ids=lambda r: r.id)
def test_feeds_of_the_folder(row: Row) -> None:
    more = ("--against", row.against) if row.against else ()
    sheet = sheet_text(row.sheet)
    _stricter(_asked(sheet, row.feed, *more, *NOMINAL), _asked(sheet, row.feed, *more))
