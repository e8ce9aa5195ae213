"""Proof sheet, part sheet, module sheet: what is shown, what is missing, and the reading that would show
it."""

from __future__ import annotations

from amptrail.paper.blocks import Block, Heading, Paper, Size, Table, Text, Ticks
from amptrail.paper.common import head, mark, under
from amptrail.paper.facts import CaseFacts, Check
from amptrail.paper.words import say


def _ticks(checks: tuple[Check, ...]) -> list[Block]:
    rows = tuple((mark(c), f"{c.words}{': ' + c.by if c.by else ''}") for c in checks)
    missing = sum(c.shown is not True for c in checks)
    verdict = say("sheets.missing", count=missing) if missing else say("sheets.complete")
    return [Heading(say("sheets.shown")), Ticks(rows), Text(verdict, strong=True)]


def proof(f: CaseFacts, size: Size) -> Paper:
    """Alternatives still compatible with what was read, and the one reading that separates each."""
    found = f.alternatives or tuple((x.words, x.separates or "") for x in f.found[1:])
    rows = tuple((words, separates or say("sheets.none")) for words, separates in found)
    blocks: list[Block] = [head(f)]
    if f.found:
        blocks += [Heading(say("sheets.claimed")), Text(f.found[0].words, strong=True)]
    if rows:
        head_row = (say("sheets.alternative"), say("sheets.separates"))
        blocks += [Heading(say("sheets.alternatives")), Table(head_row, rows, (1, 1))]
    else:
        blocks.append(Text(say("sheets.alone")))
    if f.more_alternatives > 0:
        blocks.append(Text(say("sheets.more", count=f.more_alternatives), small=True))
    if f.checks:
        blocks += _ticks(f.checks)
    blocks.append(Text(say("findings.proof_rule"), small=True))
    return Paper(say("sheets.proof_title"), size, tuple(blocks), under(f))


def condemn(f: CaseFacts, name: str, module: bool, size: Size) -> Paper:
    """What must be shown before a part or a module is called dead."""
    kind = "module" if module else "part"
    blocks: list[Block] = [head(f), Text(say(f"sheets.{kind}_rule")), *_ticks(f.checks)]
    blocks.append(Text(say("findings.safety"), small=True))
    return Paper(say(f"sheets.{kind}_title", name=name), size, tuple(blocks), under(f))
