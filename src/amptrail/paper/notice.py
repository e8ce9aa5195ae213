"""The notice to the owner: what is temporary, what no longer stops by itself, what to do if the fuse opens.

Contents: FACTS section 11 (temporary-repair notice).
"""

from __future__ import annotations

from amptrail.errors import one, typed
from amptrail.paper.blocks import (
    Block,
    Caution,
    Heading,
    Lines,
    Pairs,
    Paper,
    Points,
    Signatures,
    Size,
    Text,
)
from amptrail.paper.common import head, under
from amptrail.paper.facts import CaseFacts, Fitted
from amptrail.paper.words import amount, say, several

USABLE = 0.5  # of a battery's charge before it may no longer start an engine (common practice)
USUAL_AH = 60.0  # where nobody said which battery
LEAST_A = 1e-4  # a battery discharges itself about as fast: no longer time is promised
HOURS_BELOW_DAYS = 2.0
LONGEST_DAYS = 90.0  # beyond it a battery's own discharge and its age decide (common practice)


def days(drain_a: float, battery_ah: float) -> float:
    """Days until half the charge is gone."""
    return USABLE * battery_ah / drain_a / 24.0


def drain(f: CaseFacts, x: Fitted) -> str:
    """What the battery loses while parked, and how long it still starts the engine."""
    if x.drain_a is None:
        return say("notice.drain_unknown")
    ah = f.battery_ah or USUAL_AH
    lasts = days(max(x.drain_a, LEAST_A), ah)
    if lasts > LONGEST_DAYS:
        long = say("notice.long", days=amount(LONGEST_DAYS, 0))
    elif lasts >= HOURS_BELOW_DAYS:
        long = say("notice.days", days=amount(lasts, 0))
    else:
        long = say("notice.hours", hours=amount(lasts * 24, 0))
    return say("notice.drain_text", ma=amount(x.drain_a * 1000, 0), ah=amount(ah, 0), long=long)


def _fuse(x: Fitted) -> str:
    if x.fuse_a is None:
        return say("notice.no_fuse")
    return say("notice.fuse_text", amps=f"{x.fuse_a:g}", place=x.fuse_place or x.a)


def _one(f: CaseFacts, x: Fitted) -> list[Block]:
    a, b = x.ends
    wire = f", {x.wire}" if x.wire else ""
    blank = say("common.blank")
    on = "; ".join(x.stays_on) or (say("notice.not_off_none") if x.holds else say("notice.not_off_unknown"))
    rows = [(say("notice.what"), f"{x.name}: {say('label.from_to', a=a, b=b)}{wire}")]
    if x.cuts:
        rows.append((say("notice.cut"), "; ".join(x.cuts)))
    rows += [(say("notice.fuse"), _fuse(x)), (say("notice.not_off"), on)]
    if x.stays_on or not x.holds:
        rows.append((say("notice.how_off"), x.how_off or blank))
    lost = "; ".join(x.lost) or (say("common.nothing") if x.holds else say("notice.not_proved_short"))
    rows += [(say("notice.lost"), lost), (say("notice.drain"), drain(f, x)),
             (say("notice.until"), x.until or blank),
             (say("notice.undo"), "; ".join(x.undo) or blank),
             (say("notice.asked"), x.asked_by or blank)]  # fmt: skip
    out: list[Block] = []
    if not x.holds:
        why = "; ".join(x.broken) or x.why
        out.append(Caution(say("notice.not_proved", name=x.name, why=why)))
    return [*out, Pairs(tuple(rows))]


def notice(f: CaseFacts, size: Size, safety: tuple[str, ...] = ()) -> Paper:
    """The notice for every feed that is fitted; `safety` names the safety circuits one of them touches.

    InputError `nothing-fitted` when no feed is fitted: there is nothing to give notice of.
    """
    fitted = [x for x in f.feeds if x.fitted]
    if not fitted:
        raise one(
            "nothing-fitted",
            f"job {f.job} has no temporary feed fitted",
            remedy=f'amptrail job fit {typed(f.job)} "FEED"',
        )
    known = ((say("notice.odometer"), f.odometer),) if f.odometer else ()
    blank = (say("notice.vehicle_id"), *(() if known else (say("notice.odometer"),)))
    blocks: list[Block] = [head(f), *([Pairs(known)] if known else []), Lines(blank)]
    for x in fitted:
        blocks += _one(f, x)
    fuse = (say("notice.stop_fuse"),) if any(x.fuse_a is not None for x in fitted) else ()
    blocks += [Heading(say("notice.dont")), Points(several("notice.donts"))]
    blocks += [Heading(say("notice.stop")), Points((*fuse, *several("notice.stops")))]
    blocks.append(Lines((say("notice.telephone"),)))
    if safety:
        blocks.append(Caution(say("notice.safety_not", what="; ".join(safety))))
    elif all(x.holds for x in fitted):
        blocks.append(Text(say("notice.safety")))
    else:
        blocks.append(Text(say("notice.safety_unknown"), strong=True))
    blocks.append(Signatures(several("notice.signatures")))
    return Paper(say("notice.title"), size, tuple(blocks), under(f), letters_pt=10)
