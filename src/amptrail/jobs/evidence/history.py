"""What proven causes of closed jobs teach: how much likelier a kind of fault or of place is with you.

Conjugate counts. A kind happens at an unknown multiple of what its priors say; before any job the multiple is
gamma-distributed with mean 1 (shape and rate STRENGTH), and jobs that were to bring `expected` of the kind
brought `count` of it (Poisson). Its mean is then (STRENGTH + count) / (STRENGTH + expected): textbook
gamma-Poisson. What is expected comes from each job's own sheet, so a kind that a vehicle cannot have teaches
nothing. Nothing here reads a store: counts in, factors out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.faults import Hypothesis, catalogue
from amptrail.jobs.base.context import Json

STRENGTH = 2.0  # cases' worth of trust in the priors (common practice: two jobs do not overturn 37 stories)
WORTH_SAYING = 0.15  # a factor closer to 1 is not told
PLAIN = "an ordinary place"


@dataclass(frozen=True, slots=True)
class Taught:
    """What one closed job teaches: kinds and places of its proven cause, and what its sheet led to expect."""

    job: str
    kinds: tuple[tuple[str, float], ...]  # (kind, share of one proven cause)
    expected: tuple[tuple[str, str, float], ...]  # (kind, place, chance beforehand); sums to 1


@dataclass(frozen=True, slots=True)
class Learned:
    """A kind of fault or of place: how often it was so, how often it was to be, and the factor."""

    what: str  # kind or place
    name: str
    count: float
    expected: float

    @property
    def factor(self) -> float:
        """Posterior mean of the multiple."""
        return (STRENGTH + self.count) / (STRENGTH + self.expected)


@dataclass(frozen=True, slots=True)
class History:
    """Factors by kind of fault and by kind of place, from so many jobs."""

    jobs: tuple[str, ...] = ()
    learned: tuple[Learned, ...] = ()

    def factor(self, what: str, name: str) -> float:
        """1 for what no job has taught."""
        return next((x.factor for x in self.learned if x.what == what and x.name == name), 1.0)


NONE = History()


def kind_of(circuit: Circuit, h: Hypothesis) -> str:
    """Kind of part and class of fault: `ground, joints and wires`."""
    names = [h.part, *(f.at.part for f in h.faults)]
    found = {key(p.name): p.kind for p in circuit.parts}
    kind = next((found[key(n)] for n in names if key(n) in found), "metal")
    return f"{kind}, {h.share_class}"


def place_of(circuit: Circuit, h: Hypothesis) -> str:
    """The traits of its place: `damp, moving`; an ordinary place without any."""
    traits = next((p.traits for p in circuit.places if h.place and key(p.name) == key(h.place)), ())
    return ", ".join(sorted(traits)) or PLAIN


def _is(h: Hypothesis, f: Fault) -> bool:
    """Whether a cause of the catalogue is this fault, whatever its size."""
    return any(x.mode == f.mode and key(str(x.at)) == key(str(f.at)) for x in h.faults)


def taught(job: str, circuit: Circuit, proven: Sequence[Fault]) -> Taught | None:
    """What a closed job with these proven faults teaches; None when none of them is in the catalogue."""
    every = [h for h in catalogue(circuit) if h.faults]
    total = sum(h.prior for h in every)
    found = [next((h for h in every if len(h.faults) == 1 and _is(h, f)), None) for f in proven]
    mine = [h for h in found if h is not None]
    if not mine or total <= 0:
        return None
    so_often: dict[tuple[str, str], float] = {}
    for h in every:
        at = (kind_of(circuit, h), place_of(circuit, h))
        so_often[at] = so_often.get(at, 0.0) + h.prior / total
    share = 1.0 / len(mine)
    seen = tuple((f"{kind_of(circuit, h)}@{place_of(circuit, h)}", share) for h in mine)
    return Taught(job, seen, tuple((k, p, x) for (k, p), x in so_often.items()))


def learn(jobs: Iterable[Taught]) -> History:
    """The counts of many jobs as factors. A place teaches what its kinds of fault leave unexplained."""
    told = tuple(jobs)
    kinds = _counted("kind", told, 0, {})
    factor = {x.name: x.factor for x in kinds}
    places = _counted("place", told, 1, factor)
    return History(tuple(t.job for t in told), (*kinds, *places))


def _counted(
    what: str, told: Sequence[Taught], part: int, factor: Mapping[str, float]
) -> tuple[Learned, ...]:
    count: dict[str, float] = {}
    expected: dict[str, float] = {}
    for t in told:
        weight = [x * factor.get(k, 1.0) for k, _, x in t.expected]
        total = sum(weight) or 1.0
        for row, w in zip(t.expected, weight, strict=True):
            name = row[0] if part == 0 else row[1]
            expected[name] = expected.get(name, 0.0) + w / total
        for name, share in t.kinds:
            mine = name.split("@")[part]
            count[mine] = count.get(mine, 0.0) + share
    return tuple(Learned(what, n, count.get(n, 0.0), e) for n, e in sorted(expected.items()))


def factor_of(history: History, circuit: Circuit, h: Hypothesis) -> float:
    """How much likelier this cause is than its prior says."""
    if not history.learned or not h.faults:
        return 1.0
    return history.factor("kind", kind_of(circuit, h)) * history.factor("place", place_of(circuit, h))


def words(history: History, x: Learned) -> str:
    """`3 of your last 11 proven jobs: at a damp place (1.2 expected): counted 1.6 times as likely`."""
    n, where = len(history.jobs), x.name
    if x.what == "place":
        where = f"at {x.name}" if x.name == PLAIN else f"at a {x.name} place"
    of = f"{x.count:g} of your last {n} proven jobs"
    if n == 1:
        of = "your one proven job" if x.count else "not your one proven job"
    so = f"{of}: {where} ({x.expected:.1f} expected)"
    return f"{so}: counted {x.factor:.2g} times as likely"


def told(history: History) -> list[Json]:
    """What has moved enough to be said, the strongest first."""
    rows = [x for x in history.learned if abs(x.factor - 1.0) >= WORTH_SAYING]
    rows.sort(key=lambda x: -abs(x.factor - 1.0))
    return [learned_json(history, x) for x in rows]


def learned_json(history: History, x: Learned) -> Json:
    """One row as data."""
    return {
        "what": x.what, "name": x.name, "count": x.count, "expected": x.expected, "jobs": len(history.jobs),
        "factor": x.factor, "words": words(history, x),
    }  # fmt: skip
