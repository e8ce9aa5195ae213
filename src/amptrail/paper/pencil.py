"""The pencil sheet: empty boxes for readings, typed in later; paper still wins for the sketch (JOB.md
section 2)."""

from __future__ import annotations

from amptrail.paper.blocks import Block, Lines, Paper, Size, Table
from amptrail.paper.common import head, under
from amptrail.paper.facts import CaseFacts
from amptrail.paper.words import say, several

ROWS = 18


def pencil(f: CaseFacts, size: Size, points: tuple[tuple[str, ...], ...] = ()) -> Paper:
    """A blank page for readings; `points` (where, state, with, other lead) are printed where they are
    known."""
    empty = ("\u00a0\n\u00a0", "", "", "", "", "")
    named = tuple((*p, "", "")[:6] for p in points)
    rows = named + (empty,) * max(ROWS - len(named), 0)
    blocks: list[Block] = [head(f), Lines((say("pencil.battery"),))]
    blocks.append(Table(several("pencil.head"), rows, (2.4, 1.6, 1.2, 1.4, 1.4, 0.7)))
    return Paper(say("pencil.title"), size, tuple(blocks), under(f), letters_pt=10)
