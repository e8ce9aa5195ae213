"""The talk slip: half a sheet for the shop owner who says "just get it running". Three ways, each with its
price."""

from __future__ import annotations

from amptrail.paper.blocks import Block, Columns, Heading, Paper, Points, Signatures, Size, Text
from amptrail.paper.common import costs, minutes, span, under, within
from amptrail.paper.facts import CaseFacts, Fitted
from amptrail.paper.words import say, several

COLUMN_LETTERS, PAGE_LETTERS = 38.0, 125.0  # in a line of a column and of the page, at 9.5 pt
LETTERS = ((9.5, 14.0), (8.5, 18.0), (7.5, 22.0))  # size, and so many lines have room (measured)
SMALLEST_PT = 6.5
MOST_ROWS = 3  # of a list: the slip stays on its half sheet


def _terms(f: CaseFacts, expected: float, p80: float, lost: str, until: str) -> list[Block]:
    """What is told of each way: minutes, the figure of eight in ten, price, what is lost, until when."""
    out: list[Block] = [Text(span(expected, p80) if p80 else minutes(expected))]
    if price := costs(f, expected, p80):
        out.append(Text(f"{say('slip.price')}: {price}"))
    lost, until = f"{say('slip.lost')}: {lost}", f"{say('slip.until')}: {until}"
    return [*out, Text(lost), Text(until)]


def _repair(f: CaseFacts) -> tuple[Block, ...]:
    out: list[Block] = [Heading(say("slip.repair"))]
    if not f.found or f.unexplained:
        return (*out, Text(say("findings.unexplained" if f.unexplained else "findings.unknown")))
    first = f.found[0]
    out.append(Text(say("slip.found" if f.proven else "slip.likely", words=first.words)))
    looking = (0.0, 0.0) if f.proven else (f.expected_min or 0.0, f.p80_min or 0.0)
    if not first.repair_min:  # a cause no table has a repair of: what it takes is not known
        return (*out, Text(first.repair), Text(say("slip.repair_open")))
    late = within(first.repair_min, *looking)
    lasts = say("slip.lasts" if f.cause else "slip.lasts_open")
    terms = _terms(f, first.repair_min + looking[0], late, say("common.nothing"), lasts)
    return (*out, Text(first.repair), *terms)


def _feed(f: CaseFacts) -> tuple[Block, ...]:
    good = sorted((x for x in f.feeds if x.holds), key=lambda x: not x.fitted)
    out: list[Block] = [Heading(say("slip.feed" if good else "slip.feed_none"))]
    judged = [x for x in f.feeds if x.a]
    if not good:
        if not judged:  # none was looked at: that none holds would be more than is known
            return (*out, Text(say("slip.no_feed_judged")))
        out.append(Text(say("slip.no_feed")))
        refused = next((x for x in judged if x.verdict == "refused"), None)
        return (*out, Text(say("slip.no_feed_why", why=refused.why))) if refused else tuple(out)
    x = good[0]
    a, b = x.ends
    what = ", ".join(y for y in (say("label.from_to", a=a, b=b), x.wire, _fuse(x)) if y)
    least = x.minutes or 0.0
    until = x.until or say("slip.until_repair")
    if x.fitted:
        out.append(Text(say("slip.in_vehicle")))
    return (*out, Text(what), *_terms(f, least, within(least), _lost(x), until))


def _fuse(x: Fitted) -> str:
    return say("slip.fuse", amps=f"{x.fuse_a:g}") if x.fuse_a else ""


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
    """Left standing: why it must not be driven, and that it costs nothing today."""
    why = _few(f.no_drive)
    free = "slip.drive_free" if f.found and not f.unexplained else "slip.drive_open"
    text = say("slip.drive_not", why="; ".join(why)) if why else say(free)
    lost = f"{say('slip.lost')}: {say('slip.lost_standing')}"
    until = f"{say('slip.until')}: {say('slip.until_repair')}"
    title = "slip.no_drive" if why else "slip.stands"  # nothing said yet forbids to drive it
    return (Heading(say(title)), Text(text, strong=bool(why)), Text(say("slip.standing")),
            Text(lost), Text(until))  # fmt: skip


def _refusal(x: Fitted) -> str:
    what = say("label.from_to", a=x.a, b=x.b) if x.a else x.words
    return f"{what}{f' ({x.asked_by})' if x.asked_by else ''}: {x.why}"


def slip(f: CaseFacts, size: Size) -> Paper:
    """The talk slip of a job, on half a sheet."""
    blocks: list[Block] = [Columns((_repair(f), _feed(f), _no_drive(f)))]
    refused = tuple(_refusal(x) for x in f.feeds if not x.holds and (x.asked or x.asked_by))
    if refused:
        blocks += [Heading(say("slip.asked")), Points(_few(refused))]
    blocks.append(Signatures(several("slip.signatures")))
    title = f"{say('slip.title')}: {f.vehicle or f.job}"
    return Paper(title, size, tuple(blocks), under(f), letters_pt=_letters(blocks))
