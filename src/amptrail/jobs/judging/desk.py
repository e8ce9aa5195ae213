"""The planning problem of a judgement: tests with outcomes, minutes, places and phases; and the plan."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, key
from amptrail.circuit.phases import drive_cycle
from amptrail.errors import nearest, one
from amptrail.instruments import by_name, instruments
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.words import function_of, lamp_v
from amptrail.jobs.judging import offers, outcomes, provoking, trials
from amptrail.jobs.judging.panel import Candidate, Panel, live, panel
from amptrail.jobs.solved.access import place_minutes, start_place, travel_minutes
from amptrail.jobs.solved.observe import THERE, Observation
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.jobs.solved.session import reachable_phases
from amptrail.jobs.solved.spots import Spot, canonical, spot
from amptrail.plan import Problem, Tests, Where, World, make_plan, problem
from amptrail.plan.decide import Plan
from amptrail.plan.rollout import CONFIDENT

Array = NDArray[np.float64]
Whole = NDArray[np.int64]
# minutes to get into a phase from any other (common practice; asleep is the wait, DESIGN 8)
INTO_PHASE_MIN = {
    "asleep": 20.0,
    "awake": 0.5,
    "ignition-on": 0.3,
    "cranking": 0.6,
    "running": 1.0,
    "after-run": 1.0,
}
MEASURE_MIN = 0.3
HELPER_MIN = 2.0  # finding and briefing one, when the key must be held while a lead is elsewhere
CRANK_RISK_MIN = 0.5  # battery charge and heat of one more crank
DISTURB_MIN = 1.0  # a reading that switches something needs care
CHANGES_MIN = 1.0  # parting or exchanging something may heal the fault: what leaves it alone comes first
INSTRUMENTS = ("meter", "lamp", "loaded", "clamp")
WRONG_EXTRA_MIN = 30.0  # a wrong repair also costs the way back into the job
APART = 0.5  # two explanations are told apart by a test whose outcomes differ by more than this
HEAVY = 8  # repair groups that must be told apart by plain readings, or trials are planned too
HEAVY_LEAST = 0.02
MOST_CONFIDENT = 0.999


@dataclass(frozen=True)
class NextOptions:
    """Where the person is and what they have (docs/json.md, next)."""

    place: str | None = None
    start_phase: str | None = None
    opened: tuple[str, ...] = ()
    helper: bool = True
    have: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    cannot: tuple[str, ...] = ()
    budget_ms: int | None = None
    doubles: str = "auto"
    seed: int = 0
    history: History = NONE
    own: Own = STANDARD

    @property
    def has_helper(self) -> bool:
        """Someone to hold the key or look at a lamp."""
        return self.helper and "helper" not in self.without


@dataclass(frozen=True, eq=False)
class Choice:
    """What may be done now: the planning problem and what its indices mean."""

    judgement: Judgement
    panel: Panel
    classes: tuple[outcomes.Classes, ...]
    places: tuple[str, ...]
    minutes_own: tuple[tuple[float, float], ...]  # set-up, measuring
    problem: Problem
    at: Where
    wrong_cost_min: Array  # by repair group
    confident: float  # as sure as the plan must be among the causes


@dataclass(frozen=True, eq=False)
class Desk(Choice):
    """The same with the plan made of it."""

    plan: Plan


def _classes(p: Panel) -> tuple[outcomes.Classes, ...]:
    out = []
    alike: dict[tuple[bytes, float, str], outcomes.Classes] = {}  # points of one metal read alike
    for k, t in enumerate(p.tests):
        weight = p.live.weight
        if k in p.said:
            out.append(outcomes.chosen([words for words, _ in t.choices], p.said[k], weight))
        elif t.instrument == "lamp":
            out.append(outcomes.lit(p.value[:, :, k], weight, lamp_v(t.reads)))
        else:
            value, sigma = p.value[:, :, k], float(p.sigma[k])
            unit = "A" if t.spot.what == "amps" else "V"
            same = (value.tobytes(), sigma, unit)
            if same not in alike:
                alike[same] = outcomes.numeric(value, weight, sigma / 2, p.live.probability, sigma, unit)
            out.append(alike[same])
    return tuple(out)


def _pad(classes: tuple[outcomes.Classes, ...], count: int) -> Array:
    table = np.zeros((count, len(classes), max((len(c.words) for c in classes), default=1)))
    for k, c in enumerate(classes):
        table[:, k, : len(c.words)] = c.chance
    return table


def setup_minutes(t: Candidate) -> float:
    """Minutes until the leads are on, or the look or the question is ready, once there."""
    return t.minutes + (0.0 if t.said is not None else by_name(t.instrument).setup_minutes)


def own_minutes(
    circuit: Circuit, t: Candidate, o: NextOptions, disturbs: bool = False
) -> tuple[float, float]:
    """Minutes of a test itself, once there and in its phase: (getting the leads on, reading)."""
    setup = setup_minutes(t)
    base = drive_cycle(circuit)[t.phase].base
    measure = MEASURE_MIN + (CRANK_RISK_MIN if base == "cranking" and not _rests(t) else 0.0)
    measure += DISTURB_MIN if disturbs else 0.0
    measure += CHANGES_MIN if t.action in ("unplug", "swap", "repair", "bypass") else 0.0
    if base == "cranking" and not o.has_helper and key(t.place) != key(start_place(circuit)):
        setup += HELPER_MIN
    return setup, measure


def _rests(t: Candidate) -> bool:
    """A look needs no phase."""
    return t.said is not None and t.said.kind == "looks"


def _world(circuit: Circuit, places: tuple[str, ...]) -> World:
    cycle = drive_cycle(circuit)
    travel = np.asarray([[travel_minutes(circuit, a, b) for b in places] for a in places], float)
    shift = np.asarray([[0.0 if a == b else INTO_PHASE_MIN[cycle[b].base] for b in range(len(cycle))]
                        for a in range(len(cycle))], float)  # fmt: skip
    return World(travel, shift, np.asarray([place_minutes(circuit, p) for p in places], float))


def _groups(j: Judgement, p: Panel) -> Whole:
    names = [" + ".join(c.group for c in j.to_repair(h)) for h in p.live.index]
    table = {n: i for i, n in enumerate(dict.fromkeys(names))}
    return np.asarray([table[n] for n in names], np.int64)


def _start(circuit: Circuit, places: tuple[str, ...], o: NextOptions) -> Where:
    cycle = drive_cycle(circuit)
    here = o.place or start_place(circuit)
    at = next((i for i, p in enumerate(places) if key(p) == key(here)), None)
    if at is None:
        raise one(
            "unknown-place", f"no place is called {here}", expected=places, remedy="name a place of the sheet"
        )
    phase = 0
    if o.start_phase:
        found = [i for i, p in enumerate(cycle) if key(p.name) == key(o.start_phase)]
        if not found:
            raise one(
                "unknown-phase", f"no phase is called {o.start_phase}", expected=tuple(p.name for p in cycle)
            )
        phase = found[0]
    opened = frozenset(i for i, p in enumerate(places) if key(p) in {key(x) for x in o.opened} or i == at)
    return Where(at, phase, opened)


def _places(circuit: Circuit, tests: tuple[Candidate, ...], o: NextOptions) -> tuple[str, ...]:
    named = [start_place(circuit), *(p.name for p in circuit.places), *(t.place for t in tests)]
    if o.place:
        known = {key(n) for n in named}
        if key(o.place) not in known:
            raise one("unknown-place", f"no place is called {o.place}", expected=tuple(dict.fromkeys(named)),
                      remedy="name a place of the sheet")  # fmt: skip
    seen: dict[str, str] = {}
    for n in named:
        seen.setdefault(key(n), n)
    return tuple(seen.values())


def told_already(j: Judgement, t: Candidate, anyone: bool = False) -> bool:
    """Whether this was answered already, and surely: nobody is asked the same twice (JOB.md section 2).
    `anyone`: an answer of the shop or the customer will do."""
    told = [x for o in j.seen.all if anyone or o.whose == "mine" for x in (o, *o.tells)]
    return any(_answers(j.circuit, o, t) for o in told if o.conditions.renewed == j.renewed)


def _answers(circuit: Circuit, o: Observation, t: Candidate) -> bool:
    if o.word == THERE or o.unsure or o.conditions.as_told != t.conditions:
        return False
    if o.showing != ("fails" if t.failing else "unknown"):
        return False
    if t.said is not None:
        if o.kind != t.said.kind or o.phase != t.said.phase:
            return False
        return _subject(circuit, o) == _subject(circuit, t.said)
    same = o.phase == t.phase and o.tool == t.instrument
    return same and o.spot is not None and _same_ends(circuit, o.spot, t.spot)


def _subject(circuit: Circuit, o: Observation) -> str:
    """The function or part spoken of: a function and the load it is measured at are one."""
    must = function_of(circuit, o.part or "") if o.kind == "works" else None
    return key(must.name if must else o.part or "")


def _same_ends(circuit: Circuit, a: Spot, b: Spot) -> bool:
    """The same metal (or branch) at both ends."""
    ends = [canonical(circuit, t) if t else "" for t in (a.a, a.b, b.a, b.b)]
    return a.what == b.what and ends[:2] == ends[2:]


def _undecided(p: Panel, classes: tuple[outcomes.Classes, ...], group: Whole) -> bool:
    """Whether some heavy repair groups read alike in every plain test."""
    mass = np.bincount(group, weights=p.live.probability)
    heavy = [int(g) for g in np.argsort(-mass, kind="stable")[:HEAVY] if mass[g] >= HEAVY_LEAST]
    if len(heavy) < 2 or not classes:
        return len(heavy) > 1
    outcome = _pad(classes, len(p.live.index))
    mean = np.stack([
        np.einsum("h,htc->tc", p.live.probability[group == g], outcome[group == g]) / mass[g] for g in heavy
    ])  # fmt: skip
    apart = 0.5 * np.abs(mean[:, None] - mean[None, :]).sum(axis=3).max(axis=2)
    return bool((apart + np.eye(len(heavy)) < APART).any())


def _one_a_metal(circuit: Circuit, tests: list[Candidate], here: str) -> list[Candidate]:
    """Of readings that are one and the same (one metal, instrument, phase and condition) the one that is
    reached soonest from here; what is answered in words stays."""
    best: dict[object, tuple[float, int]] = {}
    for n, t in enumerate(tests):
        asked = n if t.said is not None else (_metals(circuit, t.spot), t.instrument, t.phase, t.conditions)
        reach = t.minutes + travel_minutes(circuit, here, t.place)
        reach += 0.0 if key(here) == key(t.place) else place_minutes(circuit, t.place)
        best[asked] = min(best.get(asked, (math.inf, n)), (reach, n))
    return [tests[n] for n in sorted(n for _, n in best.values())]


def _metals(circuit: Circuit, s: Spot) -> tuple[str, ...]:
    """What is at both ends: metals of a voltage, the branch itself of a current."""
    if s.what != "volts":
        return (s.what, str(s.a), str(s.b))
    return (s.what, *(canonical(circuit, t) if t else "" for t in (s.a, s.b)))


def _known(circuit: Circuit, o: NextOptions) -> None:
    """InputError for an instrument or a point that nobody knows: left out in silence it would change the
    plan."""
    tools = tuple(i.name for i in instruments())
    for said in (x for x in (*o.have, *o.without) if x != "helper"):
        if key(said.split()[0] if said.split() else "") not in {key(t) for t in tools}:
            raise one("instrument", f"no instrument is called {said!r}", expected=tools,
                      nearest=nearest(said, tools))  # fmt: skip
    names = {key(p.name) for p in circuit.parts} | {key(m.name) for m in circuit.musts}
    for said in o.cannot:
        if key(said) not in names:
            spot(circuit, said)


def choice(j: Judgement, o: NextOptions, until_s: float = math.inf) -> Choice:
    """What may be done now and what each test may show. Trials are left out when the clock
    (`time.monotonic`) has passed `until_s`."""
    circuit = j.circuit
    _known(circuit, o)
    have = offers.in_hand(circuit, [i for i in (o.have or INSTRUMENTS) if i not in o.without], j.own)
    reach = reachable_phases(circuit)
    alive = live(j)
    begin = next(
        (i for i, x in enumerate(drive_cycle(circuit)) if key(x.name) == key(o.start_phase or "")), 0
    )
    no = {key(x) for x in o.cannot}
    plain = [*offers.measured(circuit, reach, have, o.cannot), *offers.sensed(circuit, reach),
             *trials.looks(j, alive, begin), *provoking.provoked(j, alive)]  # fmt: skip
    waits = provoking.waits(j, alive)

    def in_wait(some: Sequence[Candidate]) -> list[Candidate]:
        wait = provoking.wait_min(j.seen.words) if waits else 0.0
        return [provoking.watched(t, wait) if waits else t for t in some]

    def open_(some: Sequence[Candidate]) -> list[Candidate]:
        return [t for t in some if key(t.spot.name) not in no and not told_already(j, t)]

    wanted = open_(in_wait(plain))
    p = panel(j, alive, _one_a_metal(circuit, wanted, o.place or start_place(circuit)))
    classes = _classes(p)
    group = _groups(j, p)
    if time.monotonic() < until_s and _undecided(p, classes, group):
        more = [*trials.unplugged(j), *trials.swapped(j, alive), *trials.bypassed(j, alive)]
        more = [t for t in in_wait(more) if t.said is not None or t.instrument in have]
        added = panel(j, alive, open_(more))
        p, classes = p.joined(added), classes + _classes(added)
    places = _places(circuit, p.tests, o)
    number = {key(n): i for i, n in enumerate(places)}
    own = tuple(own_minutes(circuit, t, o, bool(d)) for t, d in zip(p.tests, p.disturbs, strict=True))
    tests = Tests(
        _pad(classes, len(p.live.index)),
        np.asarray([a + b for a, b in own], float),
        np.asarray([number[key(t.place)] for t in p.tests], np.int64),
        np.asarray([t.phase for t in p.tests], np.int64),
        tuple(frozenset() if _from_anywhere(t) else frozenset((number[key(t.place)],)) for t in p.tests),
        np.ones(len(p.tests), bool),
        tuple(t.spot.name for t in p.tests),
    )
    asked = problem(p.live.probability, group, tests, _world(circuit, places))
    at = _start(circuit, places, o)
    return Choice(j, p, classes, places, own, asked, at, _wrong_cost(j, p, group), _confident(j))


def desk(j: Judgement, o: NextOptions, until_s: float = math.inf) -> Desk:
    """The choice and the plan from where the person is. Looking ahead ends when the clock has passed
    `until_s`."""
    c = choice(j, o, until_s)
    plan = make_plan(c.problem, c.at, c.wrong_cost_min, o.seed, c.confident, until_s)
    return Desk(**{f.name: getattr(c, f.name) for f in fields(c)}, plan=plan)


def _confident(j: Judgement) -> float:
    """As sure as the plan must be among the causes, so that it is sure enough with all that may be else."""
    causes = float(j.post.probability.sum())
    return min(CONFIDENT / max(causes, CONFIDENT), MOST_CONFIDENT)


def _from_anywhere(t: Candidate) -> bool:
    """A function is tried, and a lamp seen, without opening anything."""
    return t.said is not None and t.said.kind in ("works", "lit") and t.action in ("ask", "look")


def _wrong_cost(j: Judgement, p: Panel, group: Whole) -> Array:
    cost = np.zeros(int(group.max()) + 1)
    for g, h in zip(group, p.live.index, strict=True):
        minutes = sum(c.repair_minutes for c in j.to_repair(h))
        cost[g] = max(cost[g], minutes + WRONG_EXTRA_MIN)
    return cost
