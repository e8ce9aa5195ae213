"""A drawing on pages of its own: readable, whole, and in the order it is read."""

from __future__ import annotations

import re
from itertools import pairwise

import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from amptrail.paper import Paper, pdf
from amptrail.paper.blocks import A4, LETTER, Picture, Size, Text
from amptrail.paper.plates import LEAST_PT, LETTER_PX, OVERLAP_PX, Plate, plates

VIEW = re.compile(r'viewBox="([-\d.e+ ]+)"')
MM = 72 / 25.4


def svg(width: float, height: float) -> str:
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
            f'height="{height}"><rect width="{width}" height="{height}"/></svg>')  # fmt: skip


def window(p: Plate) -> tuple[float, float, float, float]:
    found = VIEW.search(p.svg)
    assert found is not None
    x, y, w, h = (float(v) for v in found[1].split())
    return x, y, w, h


@given(st.integers(40, 9000), st.integers(40, 9000), st.sampled_from([A4, LETTER]))
def test_readable_whole_and_on_the_page(width: int, height: int, size: Size) -> None:
    made = plates(svg(width, height), size)
    room = sorted((size.width_mm - 2 * size.margin_mm, size.height_mm - 2 * size.margin_mm))
    seen_x, seen_y = [], []
    for p in made:
        x, y, w, h = window(p)
        assert p.width_pt / w * LETTER_PX >= LEAST_PT * 0.999  # every letter can be read
        assert p.width_pt / w == pytest.approx(p.height_pt / h, rel=1e-3)  # nothing is distorted
        wide, high = (room[1], room[0]) if p.turned else (room[0], room[1])
        assert p.width_pt <= wide * MM + 0.01
        assert p.height_pt <= high * MM + 0.01
        seen_x.append((x, x + w))
        seen_y.append((y, y + h))
    for seen, side in ((sorted(set(seen_x)), width), (sorted(set(seen_y)), height)):
        assert seen[0][0] == pytest.approx(0, abs=0.01)
        assert seen[-1][1] == pytest.approx(side, rel=1e-3)
        for (_, end), (begin, _) in pairwise(seen):
            assert end - begin >= OVERLAP_PX * 0.98 - 0.5  # a word cut at an edge is whole beside it


def test_a_wide_drawing_turns_the_page_and_a_huge_one_is_split() -> None:
    assert [p.turned for p in plates(svg(1500, 700), A4)] == [True]
    assert [p.turned for p in plates(svg(700, 1200), A4)] == [False]
    huge = plates(svg(3000, 900), A4)
    assert len(huge) == 2
    assert window(huge[0])[0] < window(huge[1])[0]


def test_pages_of_the_file() -> None:
    paper = Paper("t", A4, (Text("before"), Picture(svg(3000, 900), "the circuit", own_page=True)), "under")
    pages = pypdfium2.PdfDocument(pdf(paper))
    texts = [p.get_textpage().get_text_bounded() for p in pages]
    assert len(texts) == 3
    assert ["part 1 of 2" in texts[1], "part 2 of 2" in texts[2]] == [True, True]
    assert pages[1].get_width() > pages[1].get_height()
    assert pages[0].get_width() < pages[0].get_height()


def test_a_picture_of_another_make_is_one_page() -> None:
    other = '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>'
    assert [p.svg for p in plates(other, A4)] == [other]
