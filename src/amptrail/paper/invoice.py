"""The invoice: minutes by what they went into, parts, tax, what is to pay; nothing beyond what was agreed."""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.errors import one, typed
from amptrail.paper.blocks import Block, Heading, Pairs, Paper, Points, Size, Table, Text
from amptrail.paper.common import price, under
from amptrail.paper.facts import CaseFacts, Spent
from amptrail.paper.words import amount, catalogue, language, say

LOOKING = ("access", "test", "wait")  # the kinds of time that a quote for finding the cause covers


@dataclass(frozen=True, slots=True)
class Line:
    """A line to be paid."""

    words: str
    minutes: float | None
    money: float


def kind(what: str) -> str:
    """A kind of time in the language of the paper; a kind of the user's own as it was said."""
    return str(catalogue(language())["kinds"].get(what, what))


def beyond_min(f: CaseFacts) -> float:
    """Minutes of looking for the cause beyond what was agreed."""
    if f.bill.agreed_min is None:
        return 0.0
    return max(sum(s.minutes for s in f.spent if s.what in LOOKING) - f.bill.agreed_min, 0.0)


def _words(s: Spent) -> str:
    places = ", ".join(f"{p} {m:.0f}" for p, m in s.places if p)
    return f"{kind(s.what)} ({places})" if places else kind(s.what)


def time_lines(f: CaseFacts) -> tuple[Line, ...]:
    """Time as it is charged: the flat price, or each kind at the rate, less what was not agreed."""
    if f.bill.flat is not None:
        return (Line(say("invoice.flat"), sum(s.minutes for s in f.spent), f.bill.flat),)
    if f.rate_per_hour is None:
        raise one("no-rate", f"job {f.job} has no rate and no flat price", expected=("rate", "flat"),
                  remedy=f'amptrail job set {typed(f.job)} "rate=95 ; currency=EUR"')  # fmt: skip
    left, out = beyond_min(f), []
    for s in reversed(f.spent):
        free = min(left, s.minutes) if s.what in LOOKING else 0.0
        left -= free
        out.append(Line(_words(s), s.minutes - free, f.rate_per_hour * (s.minutes - free) / 60.0))
    return tuple(reversed(out))


def total(f: CaseFacts) -> tuple[float, float, float]:
    """Sum, tax, and what is to pay; each rounded to the hundredth it is printed with."""
    lines = sum(round(x.money, 2) for x in time_lines(f))
    net = lines + sum(round(u.count * (u.price or 0.0), 2) for u in f.used)
    tax = round(net * (f.bill.vat or 0.0) / 100.0, 2)
    return round(net, 2), tax, round(net + tax, 2)


def _head(f: CaseFacts) -> Block:
    b = f.bill
    rows = [(say("invoice.number"), b.number or f.job), (say("common.date"), f.date),
            (say("invoice.issuer"), b.issuer or f.by),
            (say("invoice.customer"), b.customer or say("common.blank")),
            (say("common.vehicle"), f.vehicle), (say("common.complaint"), f.complaint or "")]  # fmt: skip
    return Pairs(tuple((n, v) for n, v in rows if v))


def _done(f: CaseFacts) -> list[Block]:
    found = (f.found[0].words,) if f.proven and f.found else ()
    rows = (*found, *((f.cause,) if f.cause else ()), *f.done)
    return [Heading(say("invoice.found")), Points(rows)] if rows else []


def _parts(f: CaseFacts) -> list[Block]:
    if not f.used:
        return []
    rows = tuple(
        (u.words, f"{u.count:g}", say("invoice.no_price") if u.price is None else amount(u.price),
         "" if u.price is None else price(f, u.count * u.price))
        for u in f.used
    )  # fmt: skip
    names = (say("invoice.what"), say("invoice.count"), say("invoice.each"), say("invoice.amount"))
    return [Heading(say("invoice.parts")), Table(names, rows, (4, 1, 1.4, 1.4), 3)]


def invoice(f: CaseFacts, size: Size) -> Paper:
    """The invoice of a job. InputError `no-rate` when nobody said what an hour, or the job, costs."""
    lines = time_lines(f)
    rate = "" if f.bill.flat is not None else say("invoice.rate", amount=price(f, f.rate_per_hour or 0.0))
    title = f"{say('invoice.time')}, {rate}" if rate else say("invoice.time")
    rows = tuple((x.words, f"{x.minutes:.0f}" if x.minutes else "", price(f, x.money)) for x in lines)
    names = (say("invoice.what"), say("invoice.minutes"), say("invoice.amount"))
    blocks: list[Block] = [_head(f), *_done(f)]
    blocks += [Heading(title), Table(names, rows, (5, 1.4, 1.4), 2)] if rows else []
    if beyond := beyond_min(f) if f.bill.flat is None else 0.0:
        agreed = f"{f.bill.agreed_min or 0:.0f}"
        blocks.append(Text(say("invoice.beyond", minutes=f"{beyond:.0f}", agreed=agreed)))
    blocks += _parts(f)
    net, tax, due = total(f)
    sums = [(say("invoice.sum"), price(f, net))]
    if f.bill.vat is not None:
        sums.append((say("invoice.vat", per_cent=f"{f.bill.vat:g}"), price(f, tax)))
    blocks += [Pairs(tuple(sums)), Text(f"{say('invoice.total')}: {price(f, due)}", strong=True)]
    if f.bill.terms:
        blocks.append(Text(f"{say('invoice.terms')}: {f.bill.terms}"))
    if any(not s.by_hand for s in f.spent):
        blocks.append(Text(say("invoice.by_log"), small=True))
    return Paper(say("invoice.title"), size, tuple(blocks), under(f))
