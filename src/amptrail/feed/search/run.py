"""The search: candidates screened by one life from asleep, the best of them judged, ranked.

Every count here is fixed, so the same question has the same answer on any machine.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain

from amptrail.circuit.model import Circuit, Fault, Feed, Must, key
from amptrail.errors import InputError, one
from amptrail.feed.evidence import Instant, Story, asleep_steps, live
from amptrail.feed.fitting import Fitted, fit, several
from amptrail.feed.functions import Finding, findings
from amptrail.feed.marks import Purpose
from amptrail.feed.parts import minutes
from amptrail.feed.search.broken import Stretch, stretches, unknown
from amptrail.feed.search.candidates import Candidate, candidates, mended
from amptrail.feed.search.need import functions_of, healthy_life, ways
from amptrail.feed.verdict import Verdict, judge
from amptrail.sheet import parse_feed

MOST_SCREENED, MOST_JUDGED, ENOUGH_HOLD, MOST_TEMPTING = 24, 6, 3, 1
MOST_MENDS = 2  # times a refused candidate is tried again with what its rules ask for
MOST_COMBINED = 2  # of each function's candidates, when several must work again


@dataclass(frozen=True, slots=True)
class Screened:
    """A candidate laid over the circuit and lived once: functions of the search that it does not restore, and
    those that are on when they must not be or that it takes away."""

    candidate: tuple[Candidate, ...]
    feed: Feed
    missing: int
    harm: int
    minutes_min: float
    mends: int = MOST_MENDS

    @property
    def text(self) -> str:
        return " and ".join(c.text for c in self.candidate)

    @property
    def soundness(self) -> int:
        return max(c.soundness for c in self.candidate)

    @property
    def tempting(self) -> bool:
        """Works at once, and is live where it should not be: what people try first."""
        return self.harm > 0 or any(c.tempting for c in self.candidate)

    @property
    def order(self) -> tuple[int, int, int, float, int, str]:
        """What is judged first."""
        return (
            self.missing, self.harm, self.soundness, self.minutes_min, len(self.feed.parts), self.text,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Found:
    """One feed of the answer."""

    text: str
    what: str
    feed: Feed
    verdict: Verdict
    tempting: bool
    soundness: int
    minutes_min: float

    @property
    def order(self) -> tuple[int, int, int, float, float, int, str]:
        """Holds first; then what has to be noted, soundness, margin in steps of a tenth, minutes, parts."""
        words = ("holds", "undecided", "refused")
        v = self.verdict
        margin = min((m.margin for m in v.worst.values() if m.ok), default=1.0)
        notes = len({m.rule for m in v.notes} | {m.rule for m in v.broken})
        return (
            words.index(v.verdict), notes, self.soundness, -round(max(margin, -1.0), 1), self.minutes_min,
            len(self.feed.parts), self.text,
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Search:
    """The answer: what was taken as broken (`assumed`: nobody said), the functions, the feeds by rank, how
    many candidates were looked at."""

    against: tuple[Fault, ...]
    assumed: bool
    musts: tuple[Must, ...]
    found: tuple[Found, ...]
    looked_at: int


def _wrong(story: Story, wanted: frozenset[str]) -> tuple[int, int]:
    """(functions asked for that stay dead, functions on or off against the sheet otherwise)."""
    bad: list[Finding] = [f for f in findings(story) if not f.ok]
    missing = {key(f.must.name) for f in bad if f.wanted == "on" and key(f.must.name) in wanted}
    harm = {
        (f.must.name, f.instant.phase) for f in bad if f.wanted == "off" or key(f.must.name) not in wanted
    }
    return len(missing), len(harm)


def _draws(x: Instant, healthy: Instant) -> bool:
    """Whether a sleeping vehicle keeps something awake that the healthy one does not."""
    return bool(set(x.state.modules_awake) - set(healthy.state.modules_awake))


def _screen(
    circuit: Circuit, against: tuple[Fault, ...], wanted: frozenset[str], parts: tuple[Candidate, ...]
) -> Screened | None:
    """One life from asleep; None when the feed cannot be laid."""
    try:
        feeds = [parse_feed(circuit, c.text, f"J{n}") for n, c in enumerate(parts, 1)]
        feed = _one_feed(feeds)
        f = fit(circuit, feed, against)
    except InputError:
        return None
    told = _lived(f)
    missing, harm = _wrong(told, wanted)
    last, healthy = told.shutdown, healthy_life(circuit).shutdown
    if last is not None and healthy is not None and _draws(last, healthy):
        harm += 1
    return Screened(parts, feed, missing, harm, minutes(f))


def _one_feed(feeds: Sequence[Feed]) -> Feed:
    if len(feeds) == 1:
        return replace(feeds[0], name="J1")
    return replace(several(feeds), name="J1", text=None, short=False)


def _lived(f: Fitted) -> Story:
    steps = asleep_steps(f.network)
    return Story(
        "nominal", "fed", "asleep", None, f.network, steps, live(f.network, [f.lane("fed")], steps), 0
    )


def _per_function(circuit: Circuit, must: Must, broken: Sequence[Stretch]) -> list[Candidate]:
    """The candidates of every stretch, each kind of each in turn, so that none crowds the others out."""
    rows: dict[str, Candidate] = {}
    for c in chain.from_iterable(candidates(circuit, s) for s in broken):
        rows.setdefault(c.text, c)
    return sorted(rows.values(), key=lambda c: (c.tempting, c.soundness))


def _combined(each: Sequence[list[Screened]], circuit: Circuit, against: tuple[Fault, ...],
              wanted: frozenset[str]) -> Iterator[Screened]:  # fmt: skip
    """One feed for every function: the best few of each joined with the best few of the next."""
    rows: list[tuple[Candidate, ...]] = [()]
    for found in each:
        best = [s.candidate for s in found[:MOST_COMBINED]]
        rows = [(*r, *c) for r in rows for c in best]
    for r in rows:
        s = _screen(circuit, against, wanted, tuple(dict.fromkeys(r)))
        if s is not None:
            yield s


def search(
    circuit: Circuit,
    names: Sequence[str],
    purpose: Purpose = "leave",
    against: tuple[Fault, ...] = (),
    *,
    nominal: bool = False,
) -> Search:
    """Feeds that make every named part or function work again, best first.

    `against` is what is broken; without it the last lead before each load is taken as open, and `assumed`
    says so. InputError when a name is unknown, when nothing says when it must work, or when what is broken
    has nothing to do with it.
    """
    musts = tuple(dict.fromkeys(m for n in names for m in functions_of(circuit, n)))
    net = healthy_life(circuit).network
    never = [m for m in musts if not ways(circuit, m)]
    if never:
        raise one("never-works", f"{never[0].name} does not work in the healthy vehicle either",
                  remedy="look at the sheet first: amptrail check, amptrail cycle")  # fmt: skip
    assumed = not against
    if assumed:
        against = unknown(circuit, net, musts)
    broken = {m: stretches(circuit, net, m, against) for m in musts}
    _refuse_unbroken(broken, names, assumed)
    wanted = frozenset(key(m.name) for m in musts)
    screened = _screened(circuit, broken, against, wanted)
    found = _judged(circuit, screened, purpose, against, nominal)
    return Search(against, assumed, musts, tuple(sorted(found, key=lambda f: f.order)), len(screened))


def _refuse_unbroken(broken: dict[Must, list[Stretch]], names: Sequence[str], assumed: bool) -> None:
    if any(broken.values()):
        return
    said = ", ".join(names)
    why = "no lead of its own is drawn before it" if assumed else "what is broken is not on its way"
    raise one("no-way-broken", f"no feed can be looked for to restore {said}: {why}",
              remedy="say what is broken: --against FAULT (a wire, fuse, contact … on its way)")  # fmt: skip


def _screened(
    circuit: Circuit, broken: dict[Must, list[Stretch]], against: tuple[Fault, ...], wanted: frozenset[str]
) -> list[Screened]:
    """Candidates lived once, the promising first. A stretch shared by all functions needs one feed only."""
    seen: dict[str, Screened] = {}
    each: list[list[Screened]] = []
    for must, parts in broken.items():
        mine = []
        for c in _per_function(circuit, must, parts)[:MOST_SCREENED]:
            if c.text not in seen:
                s = _screen(circuit, against, wanted, (c,))
                if s is None:
                    continue
                seen[c.text] = s
            mine.append(seen[c.text])
        each.append(sorted(mine, key=lambda s: s.order))
    singles = sorted(seen.values(), key=lambda s: s.order)
    if len(each) > 1 and not any(s.missing == 0 for s in singles):
        return sorted(_combined(each, circuit, against, wanted), key=lambda s: s.order)
    return singles


def _judged(circuit: Circuit, screened: Sequence[Screened], purpose: Purpose, against: tuple[Fault, ...],
            nominal: bool) -> Iterator[Found]:  # fmt: skip
    """The promising judged until enough hold; then what is tempting."""
    held = judged = 0
    kinds: dict[str, int] = {}
    waiting = [s for s in screened if s.missing == 0 and s.harm == 0]
    done: set[str] = set()
    while waiting and judged < MOST_JUDGED and held < ENOUGH_HOLD:
        # one of each kind before a second of any
        s = min(waiting, key=lambda s: (kinds.get(s.candidate[0].what, 0), s.order))
        waiting.remove(s)
        if s.text in done:
            continue
        f = _judge(circuit, s, purpose, against, nominal)
        judged += 1
        done.add(s.text)
        kinds[s.candidate[0].what] = kinds.get(s.candidate[0].what, 0) + 1
        if f.verdict.rule == "refuse_list":  # no other lead will do what this one must not
            waiting = [w for w in waiting if w.soundness == 0 or w.order[:2] != s.order[:2]]
        better = _mend(circuit, s, f, against) if s.mends and f.verdict.verdict == "refused" else None
        if better is not None and better.text not in done:
            waiting.append(better)
            kinds[s.candidate[0].what] -= 1
        held += f.verdict.verdict == "holds"
        if better is None or f.tempting:  # what was mended is not told twice
            yield f
    tempting = [s for s in screened if s.missing == 0 and s.tempting and s.text not in done]
    for s in sorted(tempting, key=lambda s: (-min(s.harm, 1), s.order))[:MOST_TEMPTING]:
        yield _judge(circuit, s, purpose, against, nominal)


def _judge(
    circuit: Circuit, s: Screened, purpose: Purpose, against: tuple[Fault, ...], nominal: bool
) -> Found:
    v = judge(circuit, s.feed, purpose, against, nominal=nominal)
    return Found(s.text, s.candidate[0].what, s.feed, v, s.tempting, s.soundness, s.minutes_min)


def _mend(circuit: Circuit, s: Screened, f: Found, against: tuple[Fault, ...]) -> Screened | None:
    """What the judge's rules ask for, when every other rule is kept."""
    parts = tuple(mended(c, f.verdict.broken) or c for c in s.candidate)
    if parts == s.candidate:
        return None
    wanted = frozenset(key(m.name) for m in circuit.musts if m.on)
    new = _screen(circuit, against, wanted, parts)
    return replace(new, mends=s.mends - 1) if new is not None and new.missing == 0 else None
