"""The notice to the owner: what is temporary, what no longer stops by itself, what to do if the fuse opens.

Contents: FACTS section 11 (temporary-repair notice).
"""

from __future__ import annotations

from amptrail.errors import one
from amptrail.paper.blocks import Block, Caution, Heading, Pairs, Paper, Points, Signatures, Size, Text
from amptrail.paper.common import head, under
from amptrail.paper.facts import CaseFacts, Fitted
from amptrail.paper.words import say, several

USABLE = 0.5  # of a battery's charge before it may no longer start an engine (common practice)
USUAL_AH = 60.0  # where nobody said which battery


def days(drain_a: float, battery_ah: float) -> float:
    """Days until half the charge is gone."""
    return USABLE * battery_ah / drain_a / 24.0


def _one(f: CaseFacts, x: Fitted) -> list[Block]:
    fuse = (
        say("notice.fuse_text", amps=f"{x.fuse_a:g}", place=x.fuse_place or x.a)
        if x.fuse_a is not None
        else say("notice.no_fuse")
    )
    ah = f.battery_ah or USUAL_AH
    drain = (
        say("notice.drain_unknown")
        if x.drain_a is None
        else say(
            "notice.drain_text",
            ma=f"{x.drain_a * 1000:.0f}",
            ah=f"{ah:.0f}",
            days=f"{days(max(x.drain_a, 1e-4), ah):.0f}",
        )
    )
    rows = [(say("notice.what"), x.words), (say("notice.where"), say("label.from_to", a=x.a, b=x.b)),
            (say("notice.fuse"), fuse),
            (say("notice.not_off"), "; ".join(x.stays_on) or say("notice.not_off_none"))]  # fmt: skip
    if x.stays_on:
        rows.append((say("notice.how_off"), x.how_off or say("common.not_said")))
    rows += [(say("notice.lost"), "; ".join(x.lost) or say("common.nothing")), (say("notice.drain"), drain),
             (say("notice.until"), x.until or say("common.not_said")),
             (say("notice.undo"), "; ".join(x.undo) or say("common.not_said")),
             (say("notice.asked"), x.asked_by or say("common.not_said"))]  # fmt: skip
    return [Pairs(tuple(rows))]


def notice(f: CaseFacts, size: Size, safety: tuple[str, ...] = ()) -> Paper:
    """The notice for every feed that is fitted; `safety` names the safety circuits one of them touches.

    InputError `nothing-fitted` when no feed is fitted: there is nothing to give notice of.
    """
    fitted = [x for x in f.feeds if x.fitted]
    if not fitted:
        raise one(
            "nothing-fitted",
            f"job {f.job} has no temporary feed fitted",
            remedy=f'amptrail job fit {f.job} "FEED"',
        )
    blocks: list[Block] = [head(f)]
    for x in fitted:
        blocks += _one(f, x)
    blocks += [Heading(say("notice.dont")), Points(several("notice.donts"))]
    blocks += [Heading(say("notice.stop")), Points(several("notice.stops"))]
    if safety:
        blocks.append(Caution(say("notice.safety_not", what="; ".join(safety))))
    else:
        blocks.append(Text(say("notice.safety")))
    blocks.append(Signatures(several("notice.signatures")))
    return Paper(say("notice.title"), size, tuple(blocks), under(f), letters_pt=10)
