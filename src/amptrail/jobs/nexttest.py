"""`next`: the visits worth their minutes, from where the person is with what they have today."""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.senses import brightness, works
from amptrail.circuit.model import Circuit, key
from amptrail.circuit.phases import drive_cycle
from amptrail.errors import one
from amptrail.jobs import outcomes
from amptrail.jobs.access import place_minutes, start_place, travel_minutes
from amptrail.jobs.cautions import cautions_for
from amptrail.jobs.context import Json, answer, load
from amptrail.jobs.engine import reachable_phases
from amptrail.jobs.judgement import Judgement
from amptrail.jobs.lines import reading_line
from amptrail.jobs.panel import Candidate, Panel, candidates, live, panel
from amptrail.jobs.spots import Spot, canonical
from amptrail.jobs.suspects import estimated, judge
from amptrail.jobs.words import NOMINAL_V, RUNS_SHARE, function_of
from amptrail.plan import Tests, Where, World, make_plan, problem
from amptrail.plan.decide import Advice, Plan

Array = NDArray[np.float64]
# minutes to get into a phase from any other (common practice; asleep is the wait, DESIGN 8)
INTO_PHASE_MIN = {
    "asleep": 20.0,
    "awake": 0.5,
    "ignition-on": 0.3,
    "cranking": 0.6,
    "running": 1.0,
    "after-run": 1.0,
}
SETUP_MIN = {"meter": 0.3, "lamp": 0.3, "loaded": 0.5, "clamp": 0.5, "led": 0.3, "eye": 0.1, "fuse-drop": 0.3}
MEASURE_MIN = 0.3
HELPER_MIN = 2.0  # finding and briefing one, when the key must be held while a lead is elsewhere
CRANK_RISK_MIN = 0.5  # battery charge and heat of one more crank
DISTURB_MIN = 1.0  # a reading that switches something needs care
INSTRUMENTS = ("meter", "lamp", "loaded", "clamp")
OUT_OF_TIME = 3  # exit status: the time given by --budget-ms ran out (the object is still complete)
WRONG_EXTRA_MIN = 30.0  # a wrong repair also costs the way back into the job


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


@dataclass(frozen=True, eq=False)
class _Desk:
    """The planning problem and what its indices mean."""

    judgement: Judgement
    panel: Panel
    classes: tuple[outcomes.Classes, ...]
    places: tuple[str, ...]
    options: NextOptions
    plan: Plan
    minutes_own: tuple[tuple[float, float], ...]  # set-up, measuring


def _classes(circuit: Circuit, p: Panel) -> tuple[outcomes.Classes, ...]:
    out = []
    for k, t in enumerate(p.tests):
        value, weight = p.value[:, :, k], p.live.weight
        if t.asks:
            must = function_of(circuit, t.asks)
            low = must.min_v if must and must.min_v else RUNS_SHARE * NOMINAL_V
            said = works(value, low=low)
            out.append(outcomes.worded({"works": said["works"], "does not work": said["does not"]}, weight))
        elif t.instrument == "lamp":
            out.append(outcomes.worded(brightness(value, NOMINAL_V), weight))
        else:
            unit = "A" if t.spot.what == "amps" else "V"
            spread = np.full_like(value, p.sigma[k] / 2)
            out.append(outcomes.numeric(value, weight, spread, p.live.probability, float(p.sigma[k]), unit))
    return tuple(out)


def _pad(classes: tuple[outcomes.Classes, ...], count: int) -> Array:
    table = np.zeros((count, len(classes), max((len(c.words) for c in classes), default=1)))
    for k, c in enumerate(classes):
        table[:, k, : len(c.words)] = c.chance
    return table


def _own(circuit: Circuit, t: Candidate, o: NextOptions, disturbs: bool) -> tuple[float, float]:
    setup = SETUP_MIN.get(t.instrument, 0.3) + (0.0 if t.asks else t.minutes)
    base = drive_cycle(circuit)[t.phase].base
    measure = (
        MEASURE_MIN + (CRANK_RISK_MIN if base == "cranking" else 0.0) + (DISTURB_MIN if disturbs else 0.0)
    )
    if base == "cranking" and not o.helper and key(t.place) != key(start_place(circuit)):
        setup += HELPER_MIN
    return setup, measure


def _world(circuit: Circuit, places: tuple[str, ...]) -> World:
    cycle = drive_cycle(circuit)
    travel = np.asarray([[travel_minutes(circuit, a, b) for b in places] for a in places], float)
    shift = np.asarray([[0.0 if a == b else INTO_PHASE_MIN[cycle[b].base] for b in range(len(cycle))]
                        for a in range(len(cycle))], float)  # fmt: skip
    return World(travel, shift, np.asarray([place_minutes(circuit, p) for p in places], float))


def _groups(j: Judgement, p: Panel) -> NDArray[np.int64]:
    names = [" + ".join(c.group for c in j.suspects[h].causes) for h in p.live.index]
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


def _told(j: Judgement, t: Candidate) -> bool:
    """Whether this was answered already, and surely: nobody is asked the same twice (JOB.md section 2)."""
    for o in j.seen.all:
        if o.unsure or o.phase != t.phase or o.showing != "unknown" or o.whose != "mine":
            continue
        if t.asks:
            must = function_of(j.circuit, o.part or "") if o.kind == "works" else None
            if must is not None and key(must.name) == key(t.asks):
                return True
        elif (
            o.spot is not None
            and (o.instrument, o.conditions) == (t.instrument, t.conditions)
            and _same_ends(j.circuit, o.spot, t.spot)
        ):
            return True
    return False


def _same_ends(circuit: Circuit, a: Spot, b: Spot) -> bool:
    """The same metal (or branch) at both ends."""
    ends = [canonical(circuit, t) if t else "" for t in (a.a, a.b, b.a, b.b)]
    return a.what == b.what and ends[:2] == ends[2:]


def _desk(j: Judgement, o: NextOptions) -> _Desk:
    circuit = j.circuit
    have = tuple(i for i in (o.have or INSTRUMENTS) if i not in o.without)
    offered = candidates(circuit, reachable_phases(circuit), have, o.cannot)
    p = panel(circuit, live(j), [t for t in offered if not _told(j, t)])
    classes = _classes(circuit, p)
    places = _places(circuit, p.tests, o)
    number = {key(n): i for i, n in enumerate(places)}
    helper = o.helper and "helper" not in o.without
    own = tuple(
        _own(circuit, t, replace(o, helper=helper), bool(d)) for t, d in zip(p.tests, p.disturbs, strict=True)
    )
    tests = Tests(
        _pad(classes, len(p.live.index)),
        np.asarray([a + b for a, b in own], float),
        np.asarray([number[key(t.place)] for t in p.tests], np.int64),
        np.asarray([t.phase for t in p.tests], np.int64),
        tuple(frozenset() if t.asks else frozenset((number[key(t.place)],)) for t in p.tests),
        np.ones(len(p.tests), bool),
        tuple(t.spot.name for t in p.tests),
    )
    group = _groups(j, p)
    plan = make_plan(
        problem(p.live.probability, group, tests, _world(circuit, places)),
        _start(circuit, places, o),
        _wrong_cost(j, p, group),
        o.seed,
    )
    return _Desk(j, p, classes, places, o, plan, own)


def _wrong_cost(j: Judgement, p: Panel, group: NDArray[np.int64]) -> Array:
    cost = np.zeros(int(group.max()) + 1)
    for g, h in zip(group, p.live.index, strict=True):
        minutes = sum(c.repair_minutes for c in j.suspects[h].causes)
        cost[g] = max(cost[g], minutes + WRONG_EXTRA_MIN)
    return cost


# ---- the answer -------------------------------------------------------------------------------------
def _why(d: _Desk, a: Advice) -> str:
    if a.repair_bits < 0.02:
        return "separates nothing that would change the repair"
    if a.separates is None:
        return "narrows what is left"
    first, second = (estimated(d.judgement, d.panel.live.index[i])[0] for i in a.separates)
    return f"separates {first} from {second}, {a.minutes.total:.1f} min"


def _test(d: _Desk, a: Advice, rank: int) -> Json:
    t, c = d.panel.tests[a.test], d.classes[a.test]
    circuit = d.judgement.circuit
    setup, measure = d.minutes_own[a.test]
    phase = drive_cycle(circuit)[t.phase].name
    rows = []
    for o in sorted(a.outcomes, key=lambda o: -o.probability):
        low, high = float(c.low[o.klass]), float(c.high[o.klass])
        numbers = np.isfinite(low) and np.isfinite(high)
        rows.append(
            {
                "words": c.words[o.klass],
                "low": low if numbers else None,
                "high": high if numbers else None,
                "probability": o.probability,
                "leaves": [
                    {"text": estimated(d.judgement, d.panel.live.index[h])[0], "probability": p}
                    for h, p in o.leaves
                ],
            }
        )
    return {
        "rank": rank,
        "action": "ask" if t.asks else "measure",
        "line": reading_line(circuit, t),
        "point": t.asks or t.spot.name,
        "to": str(t.spot.b) if t.spot.b and not t.asks else None,
        "instrument": t.instrument,
        "phase": phase,
        "with": [f"{r} out" for r in t.conditions.out],
        "how": t.how,
        "place": t.place,
        "minutes_min": {
            "move": a.minutes.move,
            "open": a.minutes.open,
            "setup": setup,
            "measure": measure,
            "phase": a.minutes.phase,
            "total": a.minutes.total,
        },
        "bits": a.bits,
        "repair_bits": a.repair_bits,
        "score": a.score,
        "outcomes": rows,
        "why": _why(d, a),
        "cautions": cautions_for(circuit, t, d.panel.disturbs[a.test]),
    }


def next_answer(j: Judgement, o: NextOptions) -> Json:
    """The body of the answer for a judgement already made."""
    d = _desk(j, o)
    visits: list[Json] = []
    for v in d.plan.visits:
        phase = drive_cycle(j.circuit)[v.phase].name
        tests = [_test(d, a, n + 1) for n, a in enumerate(v.tests)]
        visits.append(
            {
                "rank": len(visits) + 1,
                "place": d.places[v.place],
                "phase": phase,
                "minutes_min": v.minutes,
                "tests": tests,
            }
        )
    stop = d.plan.stop
    return {
        "visits": visits,
        "stop": {"is": stop.is_so, "reason": stop.reason, "wrong_cost_min": stop.wrong_cost_min},
        "expected_min": d.plan.expected_min,
        "p80_min": d.plan.p80_min,
        "bound_min": d.plan.bound_min,
        "groups": d.plan.groups,
        "exact": d.plan.exact,
        "refused": [{"line": str(n.at), "reason": n.text or "marked as not to be probed", "use_instead": None}
                    for n in j.circuit.never_probe],
    }  # fmt: skip


def next_tests(sheet_text: str, readings_text: str, options: NextOptions = NextOptions()) -> Json:
    """What to test next, and what each outcome would leave (docs/json.md, next)."""
    sheet = load(sheet_text)
    until_s = math.inf if options.budget_ms is None else time.monotonic() + options.budget_ms / 1000
    j = judge(sheet.circuit, readings_text, options.doubles, until_s)
    body = next_answer(j, options)
    late = time.monotonic() > until_s
    return answer("next", sheet, body, problems=j.problems, exit_status=OUT_OF_TIME if late else 0)
