"""Findings: what was found, how it was proved, what was done, what is left. The page the next person starts
from."""

from __future__ import annotations

from base64 import b64encode

from amptrail.paper.blocks import (
    Block,
    Caution,
    Heading,
    Paper,
    Photograph,
    Picture,
    Points,
    Size,
    Table,
    Text,
    Ticks,
)
from amptrail.paper.common import head, mark, minutes, under
from amptrail.paper.facts import CaseFacts, Fitted, Shown
from amptrail.paper.told import told
from amptrail.paper.words import say

OTHERS = 4  # suspects beside the first that are still named


def _found(f: CaseFacts) -> list[Block]:
    if not f.found and not f.unexplained:
        return [Heading(say("findings.found")), Text(say("findings.unknown"), strong=True)]
    if f.unexplained or not f.found:
        return [Heading(say("findings.found")), Text(say("findings.unexplained"), strong=True)]
    first = f.found[0]
    out: list[Block] = [Heading(say("findings.found" if f.proven else "findings.likely"))]
    out.append(Text(f"{first.words}{', ' + first.size if first.size else ''}", strong=True))
    if first.places:
        out.append(Text(f"{say('findings.where')}: {'; '.join(first.places)}"))
    out.append(Text(f"{first.repair} ({minutes(first.repair_min)})"))
    if first.others:
        out.append(Text(say("findings.equivalent", others="; ".join(first.others))))
    if not f.proven and len(f.found) > 1:
        out += [Heading(say("findings.still_fits")), Points(tuple(x.words for x in f.found[1 : 1 + OTHERS]))]
    return out


def _list(title: str, rows: tuple[str, ...], always: bool = False) -> list[Block]:
    if not rows and not always:
        return []
    return [Heading(say(title)), Points(rows or (say("common.nothing"),))]


def _shown(r: Shown) -> list[Block]:
    """A recording: its picture, what it was held against, what happened in it."""
    out: list[Block] = [Heading(say("findings.recording")), Picture(r.svg, r.caption)]
    looked = [c for c in r.checks if c.shown is not None]
    if looked:
        out.append(Ticks(tuple((mark(c), f"{c.words}: {c.by}") for c in looked)))
    if rest := [c.words for c in r.checks if c.shown is None]:  # no channel for them: one sentence
        out.append(Text(say("findings.not_shown", what="; ".join(rest))))
    return out + ([Points(r.lines)] if r.lines else [])


def _fitted(x: Fitted) -> str:
    a, b = x.ends
    fuse = say("findings.fuse", amps=f"{x.fuse_a:g}") if x.fuse_a is not None else ""
    until = say("findings.until", until=x.until) if x.until else ""
    wire = f", {x.wire}" if x.wire else ""
    cut = say("findings.cut", what=", ".join(x.cuts)) if x.cuts else ""
    return say("findings.fitted", name=x.name, a=a, b=b, wire=wire, fuse=fuse, cut=cut, until=until)


def _temporary(f: CaseFacts) -> list[Block]:
    fitted = [x for x in f.feeds if x.fitted]
    blocks = _list("findings.temporary", tuple(_fitted(x) for x in fitted))
    return blocks + [
        Caution(say("findings.not_proved", name=x.name, verdict=told(x.verdict), why=_broken(x)))
        for x in fitted
        if not x.holds
    ]


def _broken(x: Fitted) -> str:
    return "; ".join(x.broken) or x.why


def _readings(f: CaseFacts) -> list[Block]:
    if not f.readings:
        return []
    rows = tuple((str(n), r.line, "; ".join(r.ruled_out)) for n, r in enumerate(f.readings, 1))
    head_ = (say("findings.number"), say("findings.reading"), say("findings.meaning"))
    return [Heading(say("findings.readings")), Table(head_, rows, (0.7, 4.2, 3.6))]


def findings(f: CaseFacts, size: Size) -> Paper:
    """The findings of a job."""
    blocks: list[Block] = [head(f), *_found(f)]
    blocks += [Heading(say("findings.cause")), Text(f.cause or say("findings.cause_unknown"))]
    blocks += _readings(f)
    for r in f.recordings:
        blocks += _shown(r)
    blocks += _list("findings.done", f.done, always=True)
    blocks += _list("findings.acceptance", f.acceptance)
    blocks += _temporary(f)
    blocks += _list("findings.left", f.left, always=True)
    blocks += _list("findings.neighbours", f.neighbours)
    blocks += _list("findings.vain", f.vain)
    blocks += [Text(say("findings.proof_rule"), small=True), Text(say("findings.safety"), small=True)]
    if f.photographs:
        blocks.append(Heading(say("findings.photographs")))
        blocks += [
            Photograph(media, b64encode(content).decode(), caption)
            for media, content, caption in f.photographs
        ]
    if f.drawing:
        blocks.append(Picture(f.drawing, say("findings.drawing"), own_page=True))
    return Paper(say("findings.title"), size, tuple(blocks), under(f))
