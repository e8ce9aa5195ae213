"""The quote: what is excluded, what remains, what each slice of time will decide, and where it stops."""

from __future__ import annotations

from amptrail.paper.blocks import Block, Heading, Pairs, Paper, Points, Signatures, Size, Table, Text
from amptrail.paper.common import head, minutes, money, price, span, under
from amptrail.paper.facts import CaseFacts
from amptrail.paper.words import say, several

LEAST_BOUND_MIN = 5.0  # a shorter least time tells nobody anything


def _repair(f: CaseFacts, size: Size, blocks: list[Block]) -> Paper:
    first = f.found[0]
    rows = [(say("quote.proven"), first.words), (say("slip.repair"), first.repair),
            (say("quote.to_repair"), minutes(first.repair_min))]  # fmt: skip
    if f.rate_per_hour is not None:
        per = say("quote.per_hour", amount=price(f, f.rate_per_hour))
        rows += [(say("quote.rate"), per), (say("slip.price"), money(f, first.repair_min))]
    blocks.append(Pairs(tuple(rows)))
    if f.acceptance:
        blocks += [Heading(say("findings.acceptance")), Points(f.acceptance)]
    blocks += [Text(say("quote.parts_extra"), small=True), Signatures(several("quote.repair_signatures"))]
    return Paper(say("quote.repair_title"), size, tuple(blocks), under(f))


def quote(f: CaseFacts, size: Size) -> Paper:
    """The quote of a job: for finding the cause, or once that is proven for the repair."""
    blocks: list[Block] = [head(f)]
    if f.proven and f.found:
        return _repair(f, size, blocks)
    excluded = tuple(dict.fromkeys(x for r in f.readings for x in r.ruled_out))
    if excluded:
        blocks += [Heading(say("quote.so_far")), Points(excluded)]
    if f.found:
        blocks += [Heading(say("quote.remains")), Points(tuple(x.words for x in f.found))]
    rows = [(say("quote.to_cause"), span(f.expected_min, f.p80_min))]
    if f.rate_per_hour is not None:
        per = say("quote.per_hour", amount=price(f, f.rate_per_hour))
        rows += [(say("quote.rate"), per), (say("slip.price"), money(f, f.expected_min))]
    blocks.append(Pairs(tuple(rows)))
    if f.bound_min is not None and f.bound_min >= LEAST_BOUND_MIN:
        blocks.append(Text(say("quote.bound", minutes=f"{f.bound_min:.0f}"), small=True))
    if f.slices:
        table = tuple(
            (say("quote.slice", minutes=f"{s.minutes:.0f}"), s.decides, money(f, s.minutes)) for s in f.slices
        )
        blocks += [
            Heading(say("quote.slices")),
            Table(("", "", say("slip.price") if f.rate_per_hour else ""), table, (1.2, 4, 1)),
        ]
        blocks.append(Text(say("quote.stop_point"), strong=True))
    if f.found and not f.unexplained:
        first = f.found[0]
        blocks += [
            Heading(say("quote.repair")),
            Text(f"{first.words}: {first.repair}, {minutes(first.repair_min)}"),
        ]
    blocks.append(Signatures(several("quote.signatures")))
    return Paper(say("quote.title"), size, tuple(blocks), under(f))
