"""One sheet studied: which faults can be told apart, with which tests, how long it takes, what would help.

Every single cause of the catalogue stands at the middle of its severities. Two are told apart by a test whose
readings lie further apart than a person can mistake (five of its sigmas, as `next` cuts outcomes), or whose
answers in words differ in more than half of the cases. Shares of pairs weigh each pair by how often its two
faults happen. Nothing here depends on where it runs: a sheet gives the same study on every machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from amptrail.belief.cutting import APART_SIGMAS
from amptrail.circuit.model import Circuit, Term, key
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.circuit.wiring import wiring
from amptrail.jobs.base.context import load
from amptrail.jobs.evidence.beforehand import singles
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.predict import Suspect
from amptrail.jobs.judging import offers
from amptrail.jobs.judging.desk import MEASURE_MIN, NextOptions, desk, setup_minutes
from amptrail.jobs.judging.lines import reading_line
from amptrail.jobs.judging.panel import Candidate, Live, Panel, panel
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.solved.access import touchable
from amptrail.jobs.solved.acting import Faults
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.session import reachable_phases
from amptrail.jobs.solved.spots import Spot, battery_minus, is_metal, place_of
from amptrail.sheet import fault_text

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]
Json = dict[str, Any]
INSTRUMENTS = ("meter", "lamp", "loaded", "clamp")
MOST_FAULTS = 600  # the likeliest of a large sheet; pairs grow with the square
MOST_TESTS = 12  # of those that matter
MOST_FUNCTIONS = 12
MOST_WIRES = 8  # tried with a connector in them
LISTED = 10
WORTH_SHARE = 1e-3  # of the pairs; less is not worth a test or a connector
ANSWERS_APART = 0.5
TEST_POINT_MIN, CONNECTOR_MIN = 0.5, 1.5  # to reach one once it is there (common practice)


@dataclass(frozen=True)
class StudyOptions:
    """Instruments at hand; how many groups, tests and additions to list."""

    have: tuple[str, ...] = INSTRUMENTS
    top: int = LISTED


@dataclass(frozen=True, eq=False)
class _Field:
    """The faults looked at, in pairs: `first[p]`, `second[p]`, `weight[p]` (sums to 1)."""

    circuit: Circuit
    suspects: tuple[Suspect, ...]
    names: tuple[str, ...]
    judgement: Judgement
    live: Live
    first: NDArray[np.intp]
    second: NDArray[np.intp]
    weight: Array


def _middle(s: Suspect) -> Faults:
    """The faults at the middle of their severities, resistances to three figures."""
    row = s.rows[len(s.rows) // 2]
    return tuple(x if x.ohm is None else replace(x, ohm=float(f"{x.ohm:.3g}")) for x in row)


def _field(circuit: Circuit) -> _Field:
    every = singles(circuit)
    likeliest = sorted(range(1, len(every)), key=lambda i: -every[i].prior)[: MOST_FAULTS - 1]
    index = (0, *sorted(likeliest))
    some = tuple(every[i] for i in index)
    names = tuple(
        fault_text(circuit, _middle(s)) if s.causes[0].faults else "nothing is broken" for s in some
    )
    prior = np.asarray([s.prior for s in some])
    broken = prior[1:].sum()
    prior[0] = broken / len(some) if broken > 0 else 1.0  # nothing broken: one case among the others
    prior = prior / prior.sum()
    rows = tuple((_middle(s),) * 3 for s in some)
    alive = Live(index, prior, rows, np.tile([0.0, 1.0, 0.0], (len(some), 1)))
    first, second = np.triu_indices(len(some), 1)
    weight = prior[first] * prior[second]
    total = weight.sum()
    return _Field(circuit, some, names, judge(circuit, "", "off").leading, alive, first, second,
                  weight / total if total > 0 else weight)  # fmt: skip


def _apart(f: _Field, p: Panel) -> Bools:
    """[test, pair] whether the test tells the two apart."""
    out = np.zeros((len(p.tests), len(f.first)), np.bool_)
    for k in range(len(p.tests)):
        if k in p.said:
            chance = p.said[k][:, 1]
            out[k] = 0.5 * np.abs(chance[f.first] - chance[f.second]).sum(axis=1) > ANSWERS_APART
        else:
            value = p.value[:, 1, k]
            out[k] = np.abs(value[f.first] - value[f.second]) > APART_SIGMAS * p.sigma[k]
    return out


def _minutes(t: Candidate) -> float:
    return setup_minutes(t) + MEASURE_MIN


def _matter(f: _Field, tests: Sequence[Candidate], apart: Bools) -> list[Json]:
    """Tests that, one after the other, tell most of what is still alike apart for their minutes."""
    left = np.ones(len(f.first), np.bool_)
    minutes = np.asarray([_minutes(t) for t in tests])
    out: list[Json] = []
    told = 0.0
    for _ in range(MOST_TESTS if len(tests) else 0):
        gain = apart @ np.where(left, f.weight, 0.0)
        best = int((gain / minutes).argmax())
        if gain[best] < WORTH_SHARE:
            break
        told += float(gain[best])
        left &= ~apart[best]
        t = tests[best]
        out.append(
            {
                "line": reading_line(f.circuit, t),
                "instrument": t.instrument,
                "phase": drive_cycle(f.circuit)[t.phase].name,
                "place": t.place,
                "minutes_min": float(minutes[best]),
                "tells_apart": float(gain[best]),
                "so_far": told,
            }
        )
    return out


def _groups(f: _Field, told: Bools) -> list[tuple[int, ...]]:
    """Faults that no test tells apart from the first of their group, likeliest group first."""
    n = len(f.names)
    alike = np.ones((n, n), np.bool_)
    alike[f.first, f.second] = alike[f.second, f.first] = ~told
    left = list(range(n))
    out: list[tuple[int, ...]] = []
    while left:
        here = tuple(h for h in left if alike[left[0], h])
        out.append(here)
        left = [h for h in left if h not in set(here)]
    return sorted(out, key=lambda g: -float(f.live.probability[list(g)].sum()))


def _functions(f: _Field, o: StudyOptions) -> list[Json]:
    """For the complaint that a function fails: how many explanations, and the minutes to a proven cause."""
    out: list[Json] = []
    cycle = drive_cycle(f.circuit)
    for must in f.circuit.musts:
        on = next((k for k, x in enumerate(cycle) if names_phase(f.circuit, x, must.on)), None)
        if must.a is None or on is None or len(out) == MOST_FUNCTIONS:
            continue
        said = offers.asked(f.circuit, must, on)
        line = reading_line(f.circuit, said).format(value=said.choices[-1][0])
        d = desk(judge(f.circuit, line, "off"), NextOptions(have=o.have, doubles="off"))
        out.append(
            {
                "complaint": line,
                "repairs": d.plan.groups,
                "expected_min": d.plan.expected_min,
                "p80_min": d.plan.p80_min,
                "bound_min": d.plan.bound_min,
            }
        )
    return out


def _test_points(f: _Field) -> list[tuple[str, str, str, list[Candidate]]]:
    """Metals nobody can touch without piercing, each with a meter on it in every phase."""
    joined, ground = wiring(f.circuit), battery_minus(f.circuit)
    reached = {a.node for a in touchable(f.circuit) if a.how != "pierce"} | {joined.node(ground)}
    out = []
    for n, term in enumerate(joined.names):
        if n in reached or not is_metal(f.circuit, term):
            continue
        spot, place = Spot(str(term), "volts", term), place_of(f.circuit, term) or "vehicle"
        tests = [
            Candidate(spot, "meter", k, Conditions(), place, TEST_POINT_MIN, "test point")
            for k in reachable_phases(f.circuit)
        ]
        out.append(("test point", str(term), place, tests))
    return out


def _connectors(f: _Field, alike: Array) -> list[tuple[str, str, str, list[Candidate]]]:
    """The wires whose faults are most often mistaken, each with a connector in it that is parted: its two
    sides read in every phase."""
    mass: dict[str, float] = {}
    for p in np.flatnonzero(alike > 0):
        for h in (f.first[p], f.second[p]):
            for c in f.suspects[h].causes:
                for name in {x.at.part for x in c.faults}:
                    mass[name] = mass.get(name, 0.0) + float(alike[p])
    wires = [p for p in f.circuit.parts if p.kind == "wire" and p.name in mass]
    out = []
    for w in sorted(wires, key=lambda p: -mass[p.name])[:MOST_WIRES]:
        ends = [t for t in _ends(f.circuit, w.name) if is_metal(f.circuit, t)]
        parted = Conditions(unplugged=(w.name,))
        tests = [
            Candidate(
                Spot(str(t), "volts", t), "meter", k, parted, w.place or "vehicle", CONNECTOR_MIN, "plug"
            )
            for t in ends
            for k in reachable_phases(f.circuit)
        ]
        out.append(("connector", w.name, w.place or "vehicle", tests))
    return out


def _ends(circuit: Circuit, wire: str) -> list[Term]:
    hops = (h for p in circuit.paths for h in p.hops if key(h.part) == key(wire))
    return [Term(h.part, end) for h in hops for end in (h.a, h.b)]


def _additions(f: _Field, told: Bools) -> list[Json]:
    """One added test point or connector each, by how many of the pairs still alike it would tell apart."""
    alike = np.where(told, 0.0, f.weight)
    out: list[Json] = []
    for kind, at, place, tests in (*_test_points(f), *_connectors(f, alike)):
        apart = _apart(f, panel(f.judgement, f.live, tests)).any(axis=0)
        gain = float(alike[apart].sum())
        if gain < WORTH_SHARE:
            continue
        best = [int(p) for p in np.argsort(-np.where(apart, alike, 0.0), kind="stable")[:3] if alike[p] > 0]
        shown = [[f.names[f.first[p]], f.names[f.second[p]]] for p in best]
        out.append({"kind": kind, "at": at, "place": place, "tells_apart": gain, "for_example": shown})
    return sorted(out, key=lambda x: (-x["tells_apart"], x["kind"], x["at"]))


def study(sheet_text: str, o: StudyOptions = StudyOptions()) -> Json:
    """Study one sheet; raises InputError when it is not sound."""
    circuit = load(sheet_text).circuit
    f = _field(circuit)
    reach = reachable_phases(circuit)
    have = offers.in_hand(circuit, o.have)
    tests = [*offers.measured(circuit, reach, have, ()), *offers.sensed(circuit, reach)]
    p = panel(f.judgement, f.live, tests)
    apart = _apart(f, p)
    told = np.asarray(apart.any(axis=0), np.bool_)
    groups = _groups(f, told)
    number = {h: n for n, g in enumerate(groups) for h in g}
    fits = np.asarray([t.said is None for t in p.tests], np.bool_)
    kinds = np.asarray([t.instrument for t in p.tests])
    by_tool = {i: float(f.weight[apart[kinds == i].any(axis=0)].sum()) for i in o.have}
    by_tool["senses"] = float(f.weight[apart[~fits].any(axis=0)].sum())
    repair = [" + ".join(c.group for c in s.causes) for s in f.suspects]
    return {
        "parts": len(circuit.parts) + len(circuit.cavities),
        "faults": len(f.names),
        "faults_left_out": len(singles(circuit)) - len(f.names),
        "tests": len(p.tests),
        "told_apart": float(f.weight[told].sum()),
        "told_apart_by": by_tool,
        "groups": [
            {
                "faults": [f.names[h] for h in g],
                "probability": float(f.live.probability[list(g)].sum()),
                "one_repair": len({repair[h] for h in g}) == 1,
            }
            for g in groups
            if len(g) > 1
        ],
        "every_fault": [
            {
                "fault": f.names[h],
                "probability": float(f.live.probability[h]),
                "group": number[h],
                "alike": len(groups[number[h]]) - 1,
            }
            for h in range(len(f.names))
        ],
        "matter": _matter(f, p.tests, apart),
        "functions": _functions(f, o),
        "additions": _additions(f, told),
    }
