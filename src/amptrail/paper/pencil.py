"""The pencil sheet: empty boxes for readings, typed in later; paper still wins for the sketch (JOB.md
section 2)."""

from __future__ import annotations

from amptrail.paper.blocks import Block, Heading, Lines, Paper, Size, Table
from amptrail.paper.common import head, under
from amptrail.paper.facts import CaseFacts
from amptrail.paper.words import say, several

ROWS = 15  # the rest of the page is for the sketch


def pencil(f: CaseFacts, size: Size) -> Paper:
    """A page for readings; what is worth reading next is printed, the rest is blank."""
    empty = ("\u00a0\n\u00a0", "", "", "", "", "")
    named = tuple((f"{p[0]}\n\u00a0", *p[1:], "", "")[:6] for p in f.to_read[:ROWS])
    rows = named + (empty,) * max(ROWS - len(named), 0)
    blocks: list[Block] = [head(f), Lines((say("pencil.battery"),))]
    blocks.append(Table(several("pencil.head"), rows, (2.4, 1.6, 1.2, 1.4, 1.4, 0.7)))
    blocks.append(Heading(say("pencil.sketch")))
    return Paper(say("pencil.title"), size, tuple(blocks), under(f), letters_pt=10)
