"""Catalogues: every sentence in every language, with the same places to fill in; papers set in each."""

from __future__ import annotations

import string
from typing import Any

import pypdfium2
import pytest
from samples import JOB

from amptrail.errors import InputError
from amptrail.paper import html, pdf
from amptrail.paper.blocks import A4
from amptrail.paper.findings import findings
from amptrail.paper.invoice import invoice
from amptrail.paper.notice import notice
from amptrail.paper.plain import plain
from amptrail.paper.words import ENGLISH, amount, catalogue, language, languages, say, speaking

OTHERS = [x for x in languages() if x != ENGLISH]


def filled(value: Any) -> list[set[str]]:
    """The names to be filled in, sentence by sentence."""
    texts = value if isinstance(value, list) else [value]
    return [{name for _, name, _, _ in string.Formatter().parse(t) if name} for t in texts]


def test_there_is_more_than_one_language() -> None:
    assert languages()[0] == ENGLISH
    assert "de" in OTHERS


@pytest.mark.parametrize("name", OTHERS)
def test_the_same_sentences_with_the_same_places(name: str) -> None:
    mine = {g: rows for g, rows in catalogue(name).items() if g != "circuit"}  # told.py: pairs, not keys
    theirs = catalogue(ENGLISH)
    assert {g: set(rows) for g, rows in mine.items()} == {g: set(rows) for g, rows in theirs.items()}
    for group, rows in theirs.items():
        for key, text in rows.items():
            assert filled(mine[group][key]) == filled(text), f"{group}.{key}"
            assert type(mine[group][key]) is type(text)
            assert all(mine[group][key])


def test_a_language_ends_where_it_began() -> None:
    assert say("common.job") == "Job"
    with speaking("de"):
        assert (say("common.job"), amount(3.5), language()) == ("Auftrag", "3,50", "de")
    assert (say("common.job"), amount(3.5), language()) == ("Job", "3.50", ENGLISH)
    with pytest.raises(InputError) as caught, speaking("dee"):
        pass
    assert caught.value.problems[0].nearest == "de"


def test_papers_in_german() -> None:
    from dataclasses import replace

    with speaking("de"):
        made = [replace(m(JOB, A4), language="de") for m in (findings, notice, invoice)]
    assert say("common.job") == "Job"
    for paper, words in zip(made, ("Ursache", "Wie man es zurückbaut", "Zu zahlen"), strict=True):
        pages = pypdfium2.PdfDocument(pdf(paper))
        text = "".join(p.get_textpage().get_text_bounded() for p in pages).replace("\u200b", "")
        assert words in text
        assert words in plain(paper)
        page = html(paper)
        assert words in page
        assert '<html lang="de">' in page
        for english in ("Complaint", "CAUTION", "Vehicle", "until"):
            assert english not in text
