"""docs/reference.md is what the tables say."""

from __future__ import annotations

from pathlib import Path

from amptrail.reference.page import page
from amptrail.reference.rows import TABLES, rows

DOC = Path(__file__).parents[2] / "docs" / "reference.md"


def test_the_page_is_current() -> None:
    assert DOC.read_text(encoding="utf-8") == page(), (
        "run: python -m amptrail.reference.page docs/reference.md"
    )


def test_the_page_has_a_line_for_every_row() -> None:
    lines = [x for x in page().splitlines() if x.startswith("| ")]
    assert len(lines) == sum(len(rows(t)) + 1 for t in TABLES)
