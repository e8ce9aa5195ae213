"""Labels: at the splice, in the fuse box, on the dead plug. What is there, from where to where, which fuse,
which job."""

from __future__ import annotations

from typing import Literal

from amptrail.paper.blocks import Block, Code, Paper, Size, Text
from amptrail.paper.facts import CaseFacts, Fitted
from amptrail.paper.words import say

LETTER_MM, ROW_MM = 0.17, 0.5  # width of a usual letter and height of a row, mm a point of letter size
SMALLEST_PT, LARGEST_PT = 6.0, 16.0
Where = Literal["splice", "fuse box", "plug"]


def label(f: CaseFacts, feed: Fitted, where: Where, size: Size) -> Paper:
    """One label of a fitted feed, as large as the roll."""
    top = {"splice": "label.splice", "fuse box": "label.box", "plug": "label.dead"}[where]
    blocks: list[Block] = [Text(f"{say('label.temporary', name=feed.name)} · {say(top)}", strong=True)]
    if not feed.holds:
        blocks.append(Text(say("label.not_proved"), strong=True))
    blocks.append(Text(say("label.from_to", a=feed.a, b=feed.b)))
    if feed.fuse_a is not None:
        blocks.append(Text(say("label.fuse", amps=f"{feed.fuse_a:g}"), strong=where == "fuse box"))
    blocks.append(Text(f"{say('label.see', job=f.job)} · {f.date}"))
    if feed.until:
        blocks.append(Text(f"{say('slip.until').lower()}: {feed.until}"))
    blocks.append(Code(f"{f.job} {feed.name} {f.date}", mm=min(size.height_mm, size.width_mm) * 0.55))
    # as large as the longest line allows beside the code: it is read at arm's length, upside down, dirty
    code_mm = blocks[-1].mm if isinstance(blocks[-1], Code) else 0.0
    wide = size.width_mm - 2 * size.margin_mm - (code_mm + 2 if size.width_mm > size.height_mm else 0)
    longest = max(len(b.text) for b in blocks if isinstance(b, Text))
    rows = sum(isinstance(b, Text) for b in blocks)
    tall = (size.height_mm - 2 * size.margin_mm) / rows if size.width_mm > size.height_mm else wide
    letters = min(wide / (LETTER_MM * longest), tall / ROW_MM, LARGEST_PT)
    letters = max(letters, SMALLEST_PT)
    return Paper(
        f"{f.job} {feed.name} {where}", size, tuple(blocks), compact=True, letters_pt=round(letters, 1)
    )
