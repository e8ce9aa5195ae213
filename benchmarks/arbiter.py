"""The operating point of one frozen lane to 40 digits: who is right where the kernel and ngspice differ.

Node equations, Newton, sparse elimination in long arithmetic (mpmath); laws of authorities/oracle/README.md.
"""

from __future__ import annotations

from typing import Any

import mpmath as mp
import numpy as np

from amptrail.solve import laws
from amptrail.solve.network import Network
from amptrail.solve.records import Lane
from amptrail.solve.stamping import conducts, linear

DIGITS = 40
Number = Any  # mpmath has no types
Rows = list[dict[int, Number]]


def _law(kind: int, x: Number, p: list[Number]) -> tuple[Number, Number]:
    """(A, S) of a nonlinear kind at element voltage x."""
    least = mp.mpf(laws.MIN_OHM)
    if kind == laws.BATTERY:
        ohm = max(p[1] if x + p[0] > 0 else p[2], least)
        return (x + p[0]) / ohm, 1 / ohm
    if kind == laws.LAMP:
        y = x / p[0]
        q = y * y + mp.mpf("1.6e-5")
        s = p[1] / p[0] * mp.power(q, mp.mpf("-0.225"))
        return s * y, s * (1 - mp.mpf("0.45") * y * y / q) / p[0]
    if kind == laws.MOTOR:
        knee = p[0] * p[1]
        if abs(x) <= knee or p[3] <= knee:
            return x / p[0], 1 / p[0]
        slope = (p[2] - p[1]) / (p[3] - knee)
        return mp.sign(x) * (p[1] + slope * (abs(x) - knee)), slope
    if kind == laws.DIODE:
        n = p[1] * mp.mpf(laws.THERMAL_V)
        e, leak = p[0] * mp.exp(x / n), mp.mpf(laws.DIODE_LEAK_S)
        return e - p[0] + leak * x, e / n + leak
    ohm = max(p[1] if kind == laws.ONEWAY else p[0], least)
    low, high = (mp.mpf(0), p[2]) if kind == laws.ONEWAY else (-p[1], p[1])
    amps = (x + p[0]) / ohm if kind == laws.ONEWAY else x / ohm
    return (amps, 1 / ohm) if low < amps < high else (max(low, min(high, amps)), mp.mpf(0))


def _eliminate(rows: Rows, right: list[Number]) -> list[Number]:
    """Sparse Gauss on a symmetric pattern, fewest neighbours first."""
    left = set(range(len(rows)))
    order = []
    while left:
        k = min(left, key=lambda n: (len(rows[n]), n))
        left.discard(k)
        order.append(k)
        for j in [j for j in rows[k] if j != k and j in left]:
            share = rows[j].pop(k) / rows[k][k]
            right[j] -= share * right[k]
            for c, value in rows[k].items():
                if c != k and c in left:
                    rows[j][c] = rows[j].get(c, mp.mpf(0)) - share * value
        rows[k] = {c: v for c, v in rows[k].items() if c == k or c in left}
    out = [mp.mpf(0)] * len(rows)
    for k in reversed(order):
        out[k] = (right[k] - sum(v * out[c] for c, v in rows[k].items() if c != k)) / rows[k][k]
    return out


class _Point:
    """The branches of the frozen lane in long numbers, and where each nonlinear one is looked at."""

    def __init__(self, net: Network, lane: Lane, state: np.ndarray, phase: int, volts: np.ndarray) -> None:
        s = net.static
        self.nodes, self.ground = s.nodes, s.ground
        self.branches: list[tuple[int, int, int, list[Number], Number]] = []
        self.at: list[Number] = []
        self.copied = {}
        copy_of = {int(r): int(c) for r, c in s.refs}
        for b in range(lane.kind.size):
            kind, a, z = int(lane.kind[b]), int(lane.na[b]), int(lane.nb[b])
            made = conducts(s, lane, phase, state, int(s.gate[b]), int(s.unit[b]))
            if kind in (laws.NONE, laws.CURRENT) or lane.open[b] or a == z or not made:
                continue
            p = [mp.mpf(float(x)) if np.isfinite(x) else mp.inf for x in lane.p[b]]
            series = mp.mpf(float(lane.series[b])) + (p[2] if kind == laws.DIODE else 0)
            if kind == laws.RES:
                r, e = linear(s, lane, state, 0.0, b)
                p, series = [mp.mpf(float(r)), mp.mpf(float(e))], mp.mpf(0)
            if b in copy_of:
                c = copy_of[b]
                self.copied[len(self.branches)] = (int(lane.na[c]), int(lane.nb[c]))
            self.branches.append((kind, a, z, p, series))
            self.at.append(mp.mpf(float(volts[a])) - mp.mpf(float(volts[z])))
        self._inside()

    def _inside(self) -> None:
        """From the volts across a branch with series ohms to those of the element itself."""
        for n, (kind, _, _, p, series) in enumerate(self.branches):
            u, x = self.at[n], self.at[n]
            if kind == laws.RES or series == 0:
                continue
            if kind == laws.DIODE:
                x = min(x, mp.mpf("0.5"))
            for _ in range(2000):
                i, g = _law(kind, x, p)
                step = (x + series * i - u) / (1 + series * g)
                x -= step
                if abs(step) < mp.mpf(10) ** (8 - DIGITS):
                    break
            self.at[n] = x

    def step(self) -> tuple[list[Number], Number]:
        """Node volts of the tangents, and the largest move of an element."""
        rows: Rows = [{n: mp.mpf("1e-9")} for n in range(self.nodes)]
        right = [mp.mpf(0)] * self.nodes
        tangents = []
        for n, (kind, a, z, p, series) in enumerate(self.branches):
            if kind == laws.RES:
                g, j = 1 / p[0], -p[1] / p[0]
            else:
                i, s = _law(kind, self.at[n], p)
                g = s / (1 + s * series)
                j = i - g * (self.at[n] + series * i)
            tangents.append((g, j))
            for f, t in [(a, z), *([self.copied[n]] if n in self.copied else [])]:
                for node, sign in ((f, 1), (t, -1)):
                    rows[node][a] = rows[node].get(a, mp.mpf(0)) + sign * g
                    rows[node][z] = rows[node].get(z, mp.mpf(0)) - sign * g
                    for other in (a, z):
                        rows[other].setdefault(node, mp.mpf(0))
                    right[node] -= sign * j
        for n in list(rows[self.ground]):
            rows[n].pop(self.ground, None)
        rows[self.ground], right[self.ground] = {self.ground: mp.mpf(1)}, mp.mpf(0)
        v = _eliminate(rows, right)
        moved = mp.mpf(0)
        for n, (kind, a, z, _, series) in enumerate(self.branches):
            if kind != laws.RES:
                g, j = tangents[n]
                u = v[a] - v[z]
                new = u - series * (g * u + j)
                moved = max(moved, abs(new - self.at[n]))
                self.at[n] = new
        return v, moved


def settle_the_matter(
    net: Network, lane: Lane, state: np.ndarray, phase: int, volts: np.ndarray
) -> list[Number]:
    """Node volts to 40 digits, found from `volts`; ArithmeticError when Newton does not end from there."""
    with mp.workdps(DIGITS):
        point = _Point(net, lane, state, phase, volts)
        for _ in range(60):
            v, moved = point.step()
            if moved < mp.mpf(10) ** (14 - DIGITS):
                return v
        raise ArithmeticError("no operating point to 40 digits from these volts")
