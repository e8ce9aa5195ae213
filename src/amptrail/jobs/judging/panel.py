"""The panel: every test a person could do now, and what each live explanation makes it read.

Live explanations are condensed to a few severities with the weight the readings leave them. Tests answered
in words are predicted by the same likelihoods that will weigh the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from amptrail.belief import Severity
from amptrail.circuit.model import Circuit
from amptrail.instruments import by_name
from amptrail.jobs.evidence import looks, moving, words
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.predict import with_severity
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.acting import Faults
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.own import Own, loads_more, shown
from amptrail.jobs.solved.predicted import Solved
from amptrail.jobs.solved.spots import Spot, battery_minus

Array = NDArray[np.float64]
LIVE_LEAST = 2e-4
LIVE_MOST = 64
FAINT = 0.005  # below this an explanation counts at its middle severity only
DEAD_V = 0.3  # no lamp or load shows anything from less
QUANTILES = ((0, 0.25), (1, 0.5), (2, 0.25))  # low, median, high of the severity and their weights


@dataclass(frozen=True, slots=True)
class Candidate:
    """One test: `spot` with `instrument` in phase (index) under `conditions`; where and how it is reached.

    `said`: a test answered in words, as the observation its answer will be; `choices`: its answers as
    (what is written in the line, the observation's word).
    """

    spot: Spot
    instrument: str
    phase: int
    conditions: Conditions
    place: str
    minutes: float
    how: str
    action: str = "measure"
    said: Observation | None = None
    choices: tuple[tuple[str, str], ...] = ()
    tool: str = ""  # the instrument in hand, where it is one its owner measured
    failing: bool = False  # read while what fails fails: waited for with the leads on

    @property
    def reads(self) -> str:
        """What it is read with, by the name the solver knows it by."""
        return self.tool or self.instrument

    def held(self, own: Own) -> Candidate:
        """The same test with the instrument in hand."""
        return self if own.words(self.instrument) is None else replace(self, tool=own.name(self.instrument))


@dataclass(frozen=True, eq=False)
class Live:
    """Explanations still alive: index into the judgement's suspects, probability, faults, weights."""

    index: tuple[int, ...]
    probability: Array
    rows: tuple[tuple[Faults, ...], ...]
    weight: Array  # [live, 3]

    def only(self, which: Sequence[int]) -> Live:
        """Some of them, by their place here."""
        w = list(which)
        return Live(
            tuple(self.index[i] for i in w), self.probability[w], tuple(self.rows[i] for i in w),
            self.weight[w],
        )  # fmt: skip


def live(j: Judgement, least: float = LIVE_LEAST, most: int = LIVE_MOST, now: bool = True) -> Live:
    """The heaviest explanations, each at the low, middle and high end of its estimated severity. `now`: as
    the vehicle is with the parts renewed so far; otherwise as it was."""
    p = j.post.probability
    index = tuple(h for h in j.post.ranking()[:most] if p[h] >= least) or (j.post.ranking()[0],)
    rows: list[tuple[Faults, ...]] = []
    weight = np.zeros((len(index), 3))
    for i, h in enumerate(index):
        s, severity = j.suspects[h], j.post.severity[h]
        faults = tuple(f for c in s.causes for f in c.faults)
        if severity is None or p[h] < FAINT:
            middle = faults if severity is None else _at(faults, severity, "ohm")
            rows.append((middle, middle, middle))
            weight[i] = (0.0, 1.0, 0.0)
            continue
        rows.append(tuple(_at(faults, severity, end) for end in ("low", "ohm", "high")))
        weight[i] = [w for _, w in QUANTILES]
    if now and j.renewed:
        rows = [tuple(j.now(r) for r in three) for three in rows]
    return Live(index, np.asarray(p[list(index)]), tuple(rows), weight)


def _at(faults: Faults, severity: Severity, end: str) -> Faults:
    """The faults at the low end, the middle (`ohm`) or the high end of their severity."""
    ohms = [getattr(severity, end)] + ([getattr(severity.other, end)] if severity.other else [])
    return with_severity(faults, ohms)


@dataclass(frozen=True, eq=False)
class Panel:
    """Predictions of every candidate: `value[live, q, test]` of those measured, with `sigma[test]` that can
    be told apart; `said[test]` = P(answer)[live, q, choice] of those answered in words."""

    live: Live
    tests: tuple[Candidate, ...]
    value: Array
    sigma: Array
    disturbs: tuple[tuple[str, ...], ...]
    said: dict[int, Array]

    def joined(self, more: Panel) -> Panel:
        """Both panels of the same live explanations as one."""
        n = len(self.tests)
        return Panel(
            self.live,
            self.tests + more.tests,
            np.concatenate([self.value, more.value], axis=2),
            np.concatenate([self.sigma, more.sigma]),
            self.disturbs + more.disturbs,
            self.said | {n + k: a for k, a in more.said.items()},
        )


def panel(j: Judgement, alive: Live, tests: Sequence[Candidate]) -> Panel:
    """Every candidate read on every live explanation, each on the drawing it is of."""
    circuits = [j.circuit_of(h) for h in alive.index]
    apart = list(dict.fromkeys(circuits))
    if len(apart) == 1:
        return _panel(j, apart[0], alive, tests)
    rows = [[i for i, c in enumerate(circuits) if c == of] for of in apart]
    found = [_panel(j, c, alive.only(r), tests) for c, r in zip(apart, rows, strict=True)]
    return _beside(alive, rows, found)


def _beside(alive: Live, rows: Sequence[Sequence[int]], found: Sequence[Panel]) -> Panel:
    """Panels of some live explanations each (`rows`) as one of all: the tests that every one of them has."""
    number = [{t: k for k, t in enumerate(p.tests)} for p in found]
    common = [t for t in number[0] if all(t in n for n in number)]
    at = [[n[t] for t in common] for n in number]
    value = np.zeros((len(alive.index), len(QUANTILES), len(common)))
    for r, p, k in zip(rows, found, at, strict=True):
        value[r] = p.value[:, :, k]
    said: dict[int, Array] = {}
    for n, t in enumerate(common):
        if number[0][t] in found[0].said:
            answers = [p.said[k[n]] for p, k in zip(found, at, strict=True)]
            said[n] = np.zeros((len(alive.index), *answers[0].shape[1:]))
            for r, a in zip(rows, answers, strict=True):
                said[n][r] = a
    sigma = np.max([p.sigma[k] for p, k in zip(found, at, strict=True)], axis=0)
    return Panel(alive, tuple(common), value, sigma, tuple(found[0].disturbs[k] for k in at[0]), said)


def _panel(j: Judgement, circuit: Circuit, alive: Live, tests: Sequence[Candidate]) -> Panel:
    """Every candidate read on every live explanation, all of one drawing.

    What a 10 Mohm meter shows is taken as the volts of the metal, without solving again; anything that draws
    current is an exact re-solve, and left out where no explanation leaves a volt to draw it from.
    """
    tests = [t.held(j.own) for t in tests]
    wanted = [r for three in alive.rows for r in three]
    rows = list(dict.fromkeys(wanted))  # a discrete cause reads alike at all three
    number = {r: i for i, r in enumerate(rows)}
    back = np.asarray([number[r] for r in wanted], np.intp)
    shape = (len(alive.index), len(QUANTILES), -1)
    kept: list[Candidate] = []
    value: list[Array] = []
    disturbs: list[tuple[str, ...]] = []
    said: dict[int, Array] = {}
    by_cause = [t for t in tests if _by_cause(t)]
    others = [t for t in tests if not _by_cause(t)]
    for t in by_cause:
        if t.said is not None and t.said.kind == "looks":
            p = _looks(j, alive, t, solving.solved(circuit, rows, Conditions()), back)
        else:
            p = np.repeat(_moved(j, alive, t), len(QUANTILES), axis=0)
        said[len(kept)] = p.reshape(shape)
        kept.append(t)
        value.append(np.zeros(len(rows)))
        disturbs.append(())
    for c in dict.fromkeys(t.conditions for t in others):
        got = solving.solved(circuit, rows, c)
        here = [t for t in others if t.conditions == c]
        loads = [t for t in here if _draws(t) and _live_volts(got, t)]
        values, moved = got.measure([(t.spot, t.reads, t.phase) for t in loads])
        for t in (t for t in here if not _draws(t)):
            if t.said is not None:
                said[len(kept)] = _chances(circuit, t, got)[back].reshape(shape)
            kept.append(t)
            value.append(np.zeros(len(rows)) if t.said is not None else _metal_volts(got, t))
            disturbs.append(())
        kept += loads
        value += list(values.T)
        disturbs += moved
    value = [read_off(t, v) for t, v in zip(kept, value, strict=True)]
    sigma = np.asarray([_sigma(t, v) for t, v in zip(kept, value, strict=True)])
    table = np.stack(value, axis=1) if value else np.zeros((len(rows), 0))
    whole = table[back].reshape(len(alive.index), len(QUANTILES), len(kept))
    return Panel(alive, tuple(kept), whole, sigma, tuple(disturbs), said)


def read_off(t: Candidate, value: Array) -> Array:
    """What the instrument in hand shows where these values are."""
    return shown(value, by_name(t.tool)) if t.tool and t.said is None else value


def _by_cause(t: Candidate) -> bool:
    """Whether its answer hangs on the cause, not on what any point reads."""
    return t.said is not None and t.said.kind in ("looks", "moved")


def _draws(t: Candidate) -> bool:
    """Whether reading it changes the circuit or is no plain voltage."""
    if t.said is not None:
        return False
    light = t.instrument in ("meter", "fuse-drop") and not (t.tool and loads_more(by_name(t.tool)))
    return not light or t.spot.what != "volts"


def _metal_volts(got: Solved, t: Candidate) -> Array:
    return got.volts(t.spot.a, t.spot.b or battery_minus(got.session.circuit), t.phase)


def _live_volts(got: Solved, t: Candidate) -> bool:
    """Whether any explanation leaves volts there for a lamp or a load to show."""
    return t.spot.what != "volts" or bool((np.abs(_metal_volts(got, t)) > DEAD_V).any())


def _chances(circuit: Circuit, t: Candidate, got: Solved) -> Array:
    """P(answer) of every lane, one column a choice."""
    if t.said is None:
        raise AssertionError("asked for words of a measured test")
    log_p = [words.column(circuit, replace(t.said, word=w), got, ()) for _, w in t.choices]
    p = np.exp(np.stack(log_p, axis=1))
    return np.asarray(p / p.sum(axis=1, keepdims=True), np.float64)


def _looks(j: Judgement, alive: Live, t: Candidate, got: Solved, back: NDArray[np.intp]) -> Array:
    """P(answer) of a look: it depends on the cause, and of a fuse on what became of it."""
    if t.said is None:
        raise AssertionError("asked for a look of a measured test")
    part, standing = t.said.part or "", Conditions(renewed=j.renewed)
    causes = [j.suspects[h].causes for h in alive.index for _ in QUANTILES]
    blown = got.blown(part)[back]
    p = np.stack([looks.chance(j.circuit, part, w, causes, standing, blown) for _, w in t.choices], axis=1)
    return np.asarray(p / p.sum(axis=1, keepdims=True), np.float64)


def _moved(j: Judgement, alive: Live, t: Candidate) -> Array:
    """P(answer)[live, choice] when a part is moved: a fault that comes and goes is there, or elsewhere."""
    if t.said is None:
        raise AssertionError("asked for what is moved of a measured test")
    part, standing = t.said.part or "", Conditions(renewed=j.renewed)
    return np.asarray([
        [
            moving.moved(j.circuit, part, w, j.suspects[h].causes, standing)
            if j.comes_and_goes(h) else moving.steady(w)
            for _, w in t.choices
        ]
        for h in alive.index
    ])  # fmt: skip


def _sigma(t: Candidate, values: Array) -> float:
    """What a person with this instrument can tell apart here: its own error and the tolerances together."""
    if t.said is not None:
        return 1.0
    top = float(np.max(np.abs(values))) if len(values) else 0.0
    own = float(by_name(t.reads).sigma(top))
    least = {"fuse-drop": 0.0001}.get(t.instrument, 0.02 if t.spot.what == "volts" else 0.005)
    return max(own, 0.01 * top, least)
