"""The talk slip: half a sheet for the shop owner who says "just get it running". Three ways, each with its
price."""

from __future__ import annotations

from amptrail.paper.blocks import Block, Columns, Heading, Paper, Points, Signatures, Size, Text
from amptrail.paper.common import minutes, money, span, under
from amptrail.paper.facts import CaseFacts, Fitted
from amptrail.paper.words import say, several

COLUMN_LETTERS, PAGE_LETTERS = 38.0, 125.0  # in a line of a column and of the page, at 9.5 pt
LETTERS = ((9.5, 14.0), (8.5, 18.0), (7.5, 22.0))  # size, and so many lines have room (measured)
SMALLEST_PT = 6.5
MOST_ROWS = 3  # of a list: the slip stays on its half sheet


def _repair(f: CaseFacts) -> tuple[Block, ...]:
    out: list[Block] = [Heading(say("slip.repair"))]
    if f.found and not f.unexplained:
        first = f.found[0]
        total = first.repair_min + (0.0 if f.proven else f.expected_min or 0.0)
        late = first.repair_min + (0.0 if f.proven else f.p80_min or 0.0)
        out += [Text(first.repair), Text(minutes(total) if f.proven else span(total, late))]
        if price := money(f, total):
            out.append(Text(f"{say('slip.price')}: {price}"))
    else:
        out.append(Text(say("findings.unexplained" if f.unexplained else "findings.unknown")))
    return tuple(out)


def _feed(f: CaseFacts) -> tuple[Block, ...]:
    good = [x for x in f.feeds if x.holds]
    out: list[Block] = [Heading(say("slip.feed" if good or not f.feeds else "slip.feed_none"))]
    if not good:
        if not f.feeds:  # none was looked at: that none holds would be more than is known
            return (*out, Text(say("slip.no_feed_judged")))
        out.append(Text(say("slip.no_feed")))
        refused = next((x for x in f.feeds if x.verdict == "refused"), None)
        return (*out, Text(say("slip.no_feed_why", why=refused.why))) if refused else tuple(out)
    x = good[0]
    a, b = x.ends
    out += [Text(say("label.from_to", a=a, b=b)), Text(minutes(x.minutes))]
    if price := money(f, x.minutes):
        out.append(Text(f"{say('slip.price')}: {price}"))
    out.append(Text(f"{say('slip.lost')}: {_lost(x)}"))
    out.append(Text(f"{say('slip.until')}: {x.until or say('common.not_said')}"))
    return tuple(out)


def _lost(x: Fitted) -> str:
    return "; ".join((*x.lost, *x.stays_on)) or say("common.nothing")


def _letters(blocks: list[Block]) -> float:
    """Letters with which all of it stays on the half sheet, pt."""
    columns = [sum(len(b.text) for b in c if isinstance(b, (Text, Heading))) for x in blocks
               if isinstance(x, Columns) for c in x.columns]  # fmt: skip
    below = sum(len(r) for x in blocks if isinstance(x, Points) for r in x.rows)
    rows = max(columns, default=0) / COLUMN_LETTERS + below / PAGE_LETTERS
    return next((pt for pt, most in LETTERS if rows <= most), SMALLEST_PT)


def _few(rows: tuple[str, ...]) -> tuple[str, ...]:
    """As many as half a sheet has room for; that there are more is said."""
    if len(rows) <= MOST_ROWS:
        return rows
    return (*rows[:MOST_ROWS], say("slip.more", count=len(rows) - MOST_ROWS))


def _no_drive(f: CaseFacts) -> tuple[Block, ...]:
    why = _few(f.no_drive)
    free = "slip.drive_free" if f.found and not f.unexplained else "slip.drive_open"
    text = say("slip.drive_not", why="; ".join(why)) if why else say(free)
    return (Heading(say("slip.no_drive")), Text(text, strong=bool(why)))


def slip(f: CaseFacts, size: Size) -> Paper:
    """The talk slip of a job, on half a sheet."""
    blocks: list[Block] = [Columns((_repair(f), _feed(f), _no_drive(f)))]
    refused = f.asked or tuple(
        f"{say('label.from_to', a=x.a, b=x.b)} ({x.asked_by}): {x.why}"
        for x in f.feeds
        if x.verdict == "refused" and x.asked_by
    )
    if refused:
        blocks += [Heading(say("slip.asked")), Points(_few(refused))]
    blocks.append(Signatures(several("slip.signatures")))
    title = f"{say('slip.title')}: {f.vehicle or f.job}"
    return Paper(title, size, tuple(blocks), under(f), letters_pt=_letters(blocks))
