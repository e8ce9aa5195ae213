"""Node volts of a frozen list of elements: nodal equations, Newton, exactly summed residuals.

Nodes are eliminated one after the other over the conductances between them: what a node passes on is only
ever added, multiplied and divided, so that an isolated piece of the circuit, held by a gigaohm beside joints
of a milliohm, costs no accuracy. Sources enter as currents that are left over at a node: each element's
current is one number, added at one end and taken away at the other, and the sum at a node is rounded once
(`math.fsum`), so that nothing is left of a current that only circulates. Repeated until nothing moves.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from amptrail.errors import ModelError, Problem
from amptrail.twin.bench import Element
from amptrail.twin.laws import LAWS, amps, limited

LEAK_S = 1e-9  # every net to the reference
NEAR_V = 1e-12  # Newton ends when nothing moved further than this (or no longer less than before)
STALE = 1e-7  # slopes that changed less than this are not factored again
WARM, SWEEPS, DAMPED = 25, 425, 85  # sweeps before a cold start, in all, before steps are halved
Graph = dict[int, dict[int, float]]
Step = tuple[int, float, list[tuple[int, float]]]  # node, siemens in all, neighbours left and siemens to them


@dataclass(frozen=True)
class Solution:
    """Node volts against the reference, and amps by position in the list of elements: means over a period
    where an output is pulsed; `within` then holds the shares of the period and what holds in each."""

    volts: tuple[float, ...]
    amps: tuple[float, ...]
    within: tuple[tuple[float, Solution], ...] = ()

    @property
    def shares(self) -> tuple[tuple[float, Solution], ...]:
        """(share of the period, what holds in it), one of 1 where nothing is pulsed."""
        return self.within or ((1.0, self),)


def mean(within: Sequence[tuple[float, Solution]]) -> Solution:
    """The means over a period of these shares."""
    if len(within) == 1:
        return within[0][1]
    volts = tuple(
        math.fsum(each) for each in zip(*([w * v for v in s.volts] for w, s in within), strict=True)
    )
    amps = tuple(math.fsum(each) for each in zip(*([w * i for i in s.amps] for w, s in within), strict=True))
    return Solution(volts, amps, tuple(within))


def _join(near: Graph, held: list[float], a: int, b: int, siemens: float, reference: int) -> None:
    """A conductance between two nodes, or from a node to the reference."""
    if a == b:
        return
    if reference in (a, b):
        held[b if a == reference else a] += siemens
        return
    near[a][b] = near[a].get(b, 0.0) + siemens
    near[b][a] = near[b].get(a, 0.0) + siemens


def _take_out(near: Graph, held: list[float], node: int) -> Step:
    """Eliminate a node: its star becomes conductances between its neighbours."""
    star = list(near.pop(node).items())
    total = math.fsum([held[node], *(g for _, g in star)])
    for other, _ in star:
        del near[other][node]
    if total > 0:
        for k, (i, gi) in enumerate(star):
            share = gi / total
            held[i] += share * held[node]
            for j, gj in star[k + 1 :]:
                both = share * gj
                near[i][j] = near[i].get(j, 0.0) + both
                near[j][i] = near[j].get(i, 0.0) + both
    return node, total, star


def _eliminate(near: Graph, held: list[float], nodes: Iterable[int]) -> list[Step]:
    """Eliminate `nodes`, fewest neighbours first."""
    left = set(nodes)
    heap = [(len(near[n]), n) for n in sorted(left)]
    heapq.heapify(heap)
    steps = []
    while left:
        size, n = heapq.heappop(heap)
        if n not in left:
            continue
        if size != len(near[n]):
            heapq.heappush(heap, (len(near[n]), n))
            continue
        left.discard(n)
        steps.append(_take_out(near, held, n))
        for other, _ in steps[-1][2]:
            if other in left:
                heapq.heappush(heap, (len(near[other]), other))
    return steps


def _apply(steps: Sequence[Step], left_over: list[float]) -> list[float]:
    """Volts that a current into every node makes."""
    into = list(left_over)
    volts = [0.0] * len(into)
    for node, total, star in steps:
        if total > 0:
            share = into[node] / total
            for other, g in star:
                into[other] += g * share
    for node, total, star in reversed(steps):
        if total > 0:
            volts[node] = math.fsum([into[node], *(g * volts[other] for other, g in star)]) / total
    return volts


class _Frozen:
    """One list of elements, prepared: what no sweep changes is eliminated once."""

    def __init__(self, here: Sequence[Element], n: int, leaky: Iterable[int], reference: int) -> None:
        self.here, self.n, self.reference = here, n, reference
        self.leaky = [k for k in sorted(leaky) if k != reference]
        self.bent = [k for k, e in enumerate(here) if e.law != "res"]
        near: Graph = {k: {} for k in range(n) if k != reference}
        held = [0.0] * n
        for k in self.leaky:
            held[k] = LEAK_S
        for e in here:
            if e.law == "res":
                _join(near, held, e.a, e.b, 1 / e.p[0], reference)
        kept = {node for k in self.bent for node in (here[k].a, here[k].b, here[k].c)} - {-1, reference}
        self.first = _eliminate(near, held, [k for k in near if k not in kept])
        self.near, self.held = near, held
        self.steps: list[Step] = []
        self.slopes: dict[int, float] = {}  # those of `steps`
        self.copied: list[tuple[Element, float]] = []
        self.at_node: list[list[tuple[int, bool]]] = [[] for _ in range(n)]
        for k, e in enumerate(here):
            if e.a != e.b:
                self.at_node[e.a].append((k, True))
                self.at_node[e.b].append((k, False))

    def left_over(self, currents: list[float], volts: list[float]) -> list[float]:
        """Current that arrives at every node and does not leave it, A."""
        out = [0.0] * self.n
        leak = [0.0] * self.n
        for k in self.leaky:
            leak[k] = -LEAK_S * volts[k]
        for node, ends in enumerate(self.at_node):
            if node != self.reference:
                out[node] = math.fsum(
                    [leak[node], *(-currents[k] if leaves else currents[k] for k, leaves in ends)]
                )
        return out

    def step(self, tangents: dict[int, tuple[float, float]], left_over: list[float]) -> list[float]:
        """The correction of all node volts with every bent element at its tangent."""
        if not self.steps or any(
            abs(slope - self.slopes.get(k, math.inf)) > STALE * abs(slope)
            for k, (slope, _) in tangents.items()
        ):
            self._factor({k: slope for k, (slope, _) in tangents.items()})
        plain = _apply(self.steps, left_over)
        return self._with_copies(plain) if self.copied else plain

    def _factor(self, slopes: dict[int, float]) -> None:
        near = {k: dict(v) for k, v in self.near.items()}
        held = list(self.held)
        self.slopes, self.copied = slopes, []
        for k, slope in slopes.items():
            e = self.here[k]
            if e.law == "ref":  # pin against module ground; what it takes from the supply follows below
                _join(near, held, e.b, e.c, -slope, self.reference)
                if slope and e.a != e.c:
                    self.copied.append((e, slope))
            elif slope:
                _join(near, held, e.a, e.b, slope, self.reference)
        self.steps = self.first + _eliminate(near, held, list(near))

    def _with_copies(self, plain: list[float]) -> list[float]:
        """A reference takes its current from the supply and not from the module's ground: as many
        rank-one changes (Woodbury's formula) as there are references between their limits."""
        copied = self.copied
        columns = []
        for e, _ in copied:
            into = [0.0] * self.n
            into[e.a] += 1.0
            into[e.c] -= 1.0
            into[self.reference] = 0.0
            columns.append(_apply(self.steps, into))
        small = np.eye(len(copied))
        wanted = np.zeros(len(copied))
        for i, (e, slope) in enumerate(copied):
            wanted[i] = slope * (plain[e.b] - plain[e.c])
            for j, z in enumerate(columns):
                small[i, j] += slope * (z[e.b] - z[e.c])
        weight = np.linalg.solve(small, wanted)
        for w, z in zip(map(float, weight), columns, strict=True):
            plain = [x - w * y for x, y in zip(plain, z, strict=True)]
        return plain


def _across(e: Element, volts: list[float]) -> float:
    return volts[e.b] - volts[e.c] if e.law == "ref" else volts[e.a] - volts[e.b]


def solve(
    here: Sequence[Element],
    n: int,
    leaky: Iterable[int],
    reference: int,
    guess: Sequence[float] | None = None,
) -> Solution:
    """Volts of every node against `reference`, amps of every element; `guess`: volts to start from.
    ModelError when Newton never ends."""
    f = _Frozen(here, n, leaky, reference)
    volts = [0.0] * n
    at = dict.fromkeys(f.bent, 0.0)
    if guess is not None and len(guess) == n:
        volts = list(guess)
        at = {k: _across(here[k], volts) for k in f.bent}
    before = math.inf
    for sweep in range(SWEEPS):
        if sweep == WARM:
            volts, at = [0.0] * n, dict.fromkeys(f.bent, 0.0)
        volts, at, moved = _sweep(f, volts, at, 0.5 if sweep > DAMPED else 1.0)
        if not math.isfinite(moved):
            break
        if moved < NEAR_V or (moved < 1e-9 and moved >= before):
            return Solution(tuple(volts), tuple(amps(e.law, _across(e, volts), e.p) for e in here))
        before = moved
    raise ModelError((Problem("twin-newton", "the twin finds no operating point"),))


def _sweep(
    f: _Frozen, volts: list[float], at: dict[int, float], share: float
) -> tuple[list[float], dict[int, float], float]:
    """One Newton step: the next volts, where each bent element is looked at, the furthest move."""
    tangents = {k: _tangent(f.here[k], u) for k, u in at.items()}
    currents = [0.0 if e.law != "res" else (volts[e.a] - volts[e.b] - e.p[1]) / e.p[0] for e in f.here]
    for k, (slope, i) in tangents.items():
        currents[k] = i + slope * (_across(f.here[k], volts) - at[k])
    change = f.step(tangents, f.left_over(currents, volts))
    volts = [v + d for v, d in zip(volts, change, strict=True)]
    moved = max(map(abs, change), default=0.0)
    after = {}
    for k, old in at.items():
        e = f.here[k]
        u = _across(e, volts)
        after[k] = old + share * (limited(e.law, e.p, old, u) - old)
        moved = max(moved, abs(after[k] - old), abs(after[k] - u))
    return volts, after, moved


def _tangent(e: Element, u: float) -> tuple[float, float]:
    i, slope = LAWS[e.law](u, e.p)
    return slope, i
