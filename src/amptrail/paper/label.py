"""Labels: at the splice, in the fuse box, on the dead plug. What is there, from where to where, which fuse,
which job."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from amptrail.paper.blocks import Block, Code, Paper, Size, Text
from amptrail.paper.facts import CaseFacts, Fitted
from amptrail.paper.words import say

LETTER_MM, BOLD = 0.165, 1.12  # width of a usual letter, mm a point of letter size; a bold one is wider
ROW_MM = 0.52  # height of a row, mm a point of letter size
SMALLEST_PT, LARGEST_PT = 6.0, 26.0
CODE_SHARE = 0.5  # of the shorter side
GAP_MM = 2.0
Where = Literal["splice", "fuse box", "plug"]
TOPS: dict[Where, str] = {"splice": "label.splice", "fuse box": "label.box", "plug": "label.dead"}
Line = tuple[str, bool]  # words, bold


def _lines(f: CaseFacts, feed: Fitted, where: Where) -> tuple[list[Line], list[Line]]:
    """What stands on it, in few long lines and in many short ones: the roll decides which are larger."""
    top = say(TOPS[where])
    name, see = say("label.temporary", name=feed.name), say("label.see", job=f.job)
    middle: list[Line] = [] if feed.holds else [(say("label.not_proved"), True)]
    middle.append((say("label.from_to", a=feed.a, b=feed.b), False))
    if feed.fuse_a is not None:
        middle.append((say("label.fuse", amps=f"{feed.fuse_a:g}"), where == "fuse box"))
    if feed.cuts:
        middle.append((say("label.cut", what=", ".join(feed.cuts)), False))
    until: list[Line] = [(f"{say('slip.until').lower()}: {feed.until}", False)] if feed.until else []
    few = [(f"{name} · {top}", True), *middle, (f"{see} · {f.date}", False), *until]
    many = [(name, True), (top, True), *middle, (see, False), (f.date, False), *until]
    return few, many


def _letters(lines: Sequence[Line], wide_mm: float, high_mm: float) -> float:
    """The largest letters with which no line leaves its width, and all of them the height, pt."""
    longest = max(len(words) * (BOLD if bold else 1.0) for words, bold in lines)
    return min(wide_mm / (LETTER_MM * longest), high_mm / (ROW_MM * len(lines)), LARGEST_PT)


def label(f: CaseFacts, feed: Fitted, where: Where, size: Size) -> Paper:
    """One label of a fitted feed, as large as the roll: it is read at arm's length, upside down, dirty."""
    lying = size.width_mm > size.height_mm
    code_mm = min(size.height_mm, size.width_mm) * CODE_SHARE
    wide = size.width_mm - 2 * size.margin_mm - (code_mm + GAP_MM if lying else 0.0)
    high = size.height_mm - 2 * size.margin_mm - (0.0 if lying else code_mm + GAP_MM)
    lines = max(_lines(f, feed, where), key=lambda x: _letters(x, wide, high))
    blocks: list[Block] = [Text(words, strong=bold) for words, bold in lines]
    blocks.append(Code(f"{f.job} {feed.name} {f.date}", mm=code_mm))
    letters = max(_letters(lines, wide, high), SMALLEST_PT)
    title = f"{f.job} {feed.name} {say(TOPS[where])}"
    return Paper(title, size, tuple(blocks), compact=True, letters_pt=round(letters, 1))
