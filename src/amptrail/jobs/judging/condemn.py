"""`condemn`: may this part be called dead? Each demand ticked by the readings that show it, or missing.

How likely a part is to be at fault (`suspects`) rests on how often such parts fail; a proof does not. A line
is shown when the readings speak at least TEN to one against every one of its counter-cases, whatever their
priors, and missing otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from amptrail.belief import Grid, Posterior, Table, contributions, posterior
from amptrail.circuit.model import Circuit, Fault, Reference, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.errors import nearest, one
from amptrail.faults import Hypothesis as Cause
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.predict import Suspect, with_severity
from amptrail.jobs.evidence.renewed import weighed
from amptrail.jobs.judging.claims import TOO_MUCH, Claim, Demand, claim, may_condemn
from amptrail.jobs.judging.panel import live
from amptrail.jobs.judging.poweroff import same_run
from amptrail.jobs.solved.observe import Observation

State = Literal["shown", "missing", "not so"]
TEN = math.log(10.0)  # a misprobe or a slip of the tongue is 3 to 6 in a hundred (common practice)
TELLS, TELLING = 0.5, 0.2  # nats, and share of the strongest, from which a reading is named beside a line
MOST_NAMED, MOST_ELSEWHERE = 3, 12
RIGHT = ("right", "fine", "ok")
FAINT = 0.01
WAY = 0.05  # of what the part weighs: a way of failing less likely is not asked about
LEAST = 1e-4  # the least a hypothesis of the named part may weigh and still be what is claimed


@dataclass(frozen=True, slots=True)
class Line:
    """A demand with its state, the readings that show it, and the counter-cases still open."""

    demand: Demand
    state: State
    by: tuple[Observation, ...]
    left: tuple[tuple[Fault, ...], ...]


@dataclass(frozen=True, eq=False)
class Sheet:
    """A claim beside the readings. `blamed`: every way in which the part may be dead that still weighs,
    each as its faults at their likeliest size, the likeliest first."""

    claim: Claim
    suspect: int
    blamed: tuple[tuple[Fault, ...], ...]
    lines: tuple[Line, ...]

    @property
    def proven(self) -> bool:
        return all(x.state == "shown" for x in self.lines)


def leading(j: Judgement, name: str | None = None) -> int:
    """The suspect a sheet is about: what leads, or the likeliest way in which the named part is dead.

    InputError for a name that is no part, or a part nothing of which can be called dead.
    """
    order = [h for h in j.post.ranking() if j.suspects[h].causes[0].faults]
    if name is None:
        return j.post.ranking()[0]
    names = [p.name for p in j.circuit.parts]
    if key(name) not in {key(n) for n in names}:
        raise one("unknown-part", f"no part is called {name}", expected=tuple(names[:20]),
                  nearest=nearest(name, names), remedy="name a part of the sheet")  # fmt: skip
    mine = [h for h in order if may_condemn(j.circuit, _at(_faults(j, h), name))]
    if not mine:
        raise one("nothing-to-condemn", f"{name} has no fault that could be proven at it",
                  remedy="name a part that uses or carries current")  # fmt: skip
    alone = [h for h in mine if len({key(f.at.part) for f in _faults(j, h)}) == 1]
    # a part nobody suspects is asked about because it does nothing, not because it does too much
    return min(
        alone or mine, key=lambda h: j.post.probability[h] < FAINT and _faults(j, h)[0].mode in TOO_MUCH
    )


def _faults(j: Judgement, h: int) -> tuple[Fault, ...]:
    return tuple(f for c in j.suspects[h].causes for f in c.faults)


def _at(faults: Sequence[Fault], name: str) -> tuple[Fault, ...]:
    """Those of the faults that are of the part."""
    return tuple(f for f in faults if key(f.at.part) == key(name))


def _first(faults: Sequence[Fault], name: str | None) -> tuple[Fault, ...]:
    """The faults with those of the named part first."""
    return tuple(sorted(faults, key=lambda f: name is not None and key(f.at.part) != key(name)))


def sheet_of(j: Judgement, name: str | None = None) -> Sheet | None:
    """The sheet of the leading suspect, or of the part named; None when what leads is nothing to condemn."""
    h = leading(j, name)
    first = _first(_faults(j, h), name)
    found = claim(j.circuit, first)
    if found is None:
        return None
    blamed = tuple(_first(f, found.part.name) for f in _ways(j, h, first[0].at.part))
    demands = found.demands
    weighed = _Weighed(j, h, blamed, found.part.name, demands)
    lines = [_line(j.circuit, weighed, n, d) for n, d in enumerate(demands)]
    return Sheet(found, h, blamed, (*lines, _alone(j, found.part.name)))


def elsewhere(j: Judgement, part: str) -> tuple[int, ...]:
    """Single causes that do not blame the part and that the readings do not speak against ten to one beside
    it, whatever their priors; the likeliest first."""
    own = [h for h, s in enumerate(j.suspects) if s.causes[0].faults and _at(_faults(j, h), part)]
    best = max((float(j.post.log_evidence[h]) for h in own), default=-math.inf)
    singles = [h for h in j.post.ranking() if len(j.suspects[h].causes) == 1 and not _at(_faults(j, h), part)]
    return tuple(h for h in singles if float(j.post.log_evidence[h]) > best - TEN)


def likeliest(j: Judgement, h: int) -> tuple[Fault, ...]:
    """The faults of a suspect at their estimated size."""
    severity = j.post.severity[h]
    return _sized(_faults(j, h)) if severity is None else with_severity(_faults(j, h), [severity.ohm])


def _alone(j: Judgement, part: str) -> Line:
    """The last line: nothing else in the drawing explains what was read."""
    d = Demand("alone", None, f"nothing but {part} explains what was read")
    left = elsewhere(j, part)
    rows = tuple(likeliest(j, h) for h in left[:MOST_ELSEWHERE])
    if left or not j.seen.all:
        return Line(d, "missing", (), rows)
    told = sorted(contributions(j.post), key=lambda c: -len(c.ruled_out))
    by_line = {o.line: o for o in j.seen.all}
    return Line(d, "shown", tuple(by_line[c.line] for c in told[:MOST_NAMED] if c.line in by_line), ())


def _ways(j: Judgement, h: int, part: str) -> Iterator[tuple[Fault, ...]]:
    """The claimed suspect, then others at the same element that still weigh, at their likeliest size."""
    alive = live(j, LEAST, now=False)
    middle = dict(zip(alive.index, (rows[1] for rows in alive.rows), strict=True))
    yield middle.get(h, _sized(_faults(j, h)))
    spots = _spots(j, h, part)
    mine = [x for x in alive.index if x != h and spots == _spots(j, x, part)]
    total = float(j.post.probability[[h, *mine]].sum())
    yield from (middle[x] for x in mine if j.post.probability[x] >= WAY * total)


def _spots(j: Judgement, h: int, part: str) -> frozenset[tuple[str, bool]]:
    """Where a suspect blames: the spots it names, a part of several spots by its name alone."""
    return frozenset((str(f.at), key(f.at.part) == key(part)) for f in _faults(j, h))


def _sized(faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """Open-ended resistances as an open circuit would have them."""
    return tuple(replace(f, ohm=1e6) if f.mode == "resistance" and f.ohm is None else f for f in faults)


class _Weighed:
    """Every way of the blamed part and every counter-case of a claim in one table."""

    def __init__(
        self, j: Judgement, h: int, blamed: Sequence[tuple[Fault, ...]], part: str, demands: Sequence[Demand]
    ) -> None:
        others = tuple(f for f in blamed[0] if key(f.at.part) != key(part))
        rows = [*(_case(j.suspects[h].causes, b) for b in blamed), _case(_made(()), others)]
        self.own, self.where = len(blamed), list[list[int]]()
        for d in demands:
            bases = (others, *blamed) if d.loaded else (others,)
            # what is asked is whether it is so now: a new part may have it too
            new = [_case(_made(_stay(c)), base + _stay(c)) for c in d.counters for base in bases]
            self.where.append(list(range(len(rows), len(rows) + len(new))))
            rows += new
        self.rows, self.seen = rows, j.seen
        self.table = weighed(j.circuit, rows, j.seen)
        self.fit = posterior(self.table).log_evidence  # by every reading: what explains them best of all

    def select(self, cases: Sequence[int], used: Sequence[Observation]) -> Table:
        """The table of the blamed part (the first `own` rows), of a part that is whole, and of some cases, by
        some readings."""
        ids = {id(o) for o in used}
        numbers = [i for i, o in enumerate(self.seen.numbers) if id(o) in ids]
        words = [i for i, o in enumerate(self.seen.words) if id(o) in ids]
        t = self.table
        return replace(t, hypotheses=tuple(t.hypotheses[i] for i in (*range(self.own + 1), *cases))).select(
            numbers, words
        )


def _stay(faults: tuple[Fault, ...]) -> tuple[Fault, ...]:
    return tuple(replace(f, stays=True) for f in faults)


def _case(causes: tuple[Cause, ...], faults: tuple[Fault, ...]) -> Suspect:
    return Suspect(causes, Grid(), (faults,), 1.0)


def _made(faults: tuple[Fault, ...]) -> tuple[Cause, ...]:
    """The counter-case as a cause of its own, so that looks and exchanged parts are heard of it."""
    return (Cause("counter", faults, 1.0, "counter", "", 0.0, part=faults[0].at.part if faults else ""),)


def _counts(o: Observation, d: Demand) -> bool:
    if o.showing == "works":
        return False  # read while it worked: says nothing of what fails
    return not d.phases or o.phase is None or o.phase in d.phases


def _line(circuit: Circuit, weighed: _Weighed, n: int, d: Demand) -> Line:
    used = [o for o in weighed.seen.all if _counts(o, d)]
    if d.literal:
        by = _told(circuit, d, weighed.seen.all)
        return Line(d, "shown" if by else "missing", by, ())
    cases = weighed.where[n]
    if not used or not cases:
        return Line(d, "missing", (), tuple(weighed.rows[i].rows[0] for i in cases))
    fit = (post := posterior(weighed.select(cases, used))).log_evidence
    best, whole, rest = int(np.argmax(fit[: weighed.own])), weighed.own, weighed.own + 1
    gap = fit[best] - fit[rest:]
    left = tuple(weighed.rows[i].rows[0] for i, g in zip(cases, gap, strict=True) if g < TEN)
    worst = int(np.argmin(gap)) + rest
    against = fit[worst] >= max(fit[best], fit[whole]) + TEN
    if against and weighed.fit[cases[worst - rest]] > weighed.fit.max() - TEN:
        return Line(d, "not so", _speaking(post, worst, best, used), left)
    return Line(d, "missing" if left else "shown", () if left else _speaking(post, best, worst, used), left)


def _speaking(
    post: Posterior, right: int, wrong: int, used: Sequence[Observation]
) -> tuple[Observation, ...]:
    """The readings that speak most for one case against another."""
    by_line = {o.line: o for o in used}
    told = sorted(((float(c.nats[right] - c.nats[wrong]), c.line) for c in contributions(post)), reverse=True)
    enough = max(TELLS, TELLING * told[0][0]) if told else 0.0
    return tuple(by_line[line] for v, line in told[:MOST_NAMED] if v >= enough)


# ---- what is told, not weighed ----------------------------------------------------------------------
def _told(circuit: Circuit, d: Demand, seen: Sequence[Observation]) -> tuple[Observation, ...]:
    if d.what == "fitted":
        name = d.words.split(" ", 1)[0]
        return tuple(
            o for o in seen if o.kind == "looks" and key(o.part or "") == key(name) and o.word in RIGHT
        )
    if d.at is None:
        return ()
    spots = [(o, o.spot.a) for o in seen if o.spot is not None]
    if d.what == "reference":
        along = [o for o, a in spots if same_run(circuit, a, d.at)]
        return tuple(o for o in along if o.conditions.unplugged and _near(circuit, d.at, o))
    here = [o for o, a in spots if _same(circuit, a, d.at)]
    return _absent(circuit, d.at, here, seen)


def _same(circuit: Circuit, a: Term, b: Term) -> bool:
    return wiring(circuit).node(a) == wiring(circuit).node(b)


def _near(circuit: Circuit, at: Term, o: Observation) -> bool:
    """Any figure will do: a reference that stays low without its sensors is the module's own."""
    known = any(
        isinstance(x, Reference) and _same(circuit, Term(x.module, x.pin), at) for x in circuit.modules
    )
    return known and o.kind in ("number", "range")


def _absent(
    circuit: Circuit, at: Term, here: Sequence[Observation], seen: Sequence[Observation]
) -> tuple[Observation, ...]:
    """An output read twice, or a function tried at two key turns or more without working."""
    tried = [
        o
        for o in seen
        if o.kind == "works" and o.good_of is not None and o.good_of[0] == 0 and o.good_of[1] >= 2
    ]
    if tried:
        return tuple(tried[:1])
    dead = [o for o in here if o.showing != "works"]
    return tuple(dead[:2]) if len(dead) >= 2 else ()


__all__ = ["Line", "Sheet", "leading", "sheet_of"]
