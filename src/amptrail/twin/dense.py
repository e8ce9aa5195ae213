"""Node volts of a frozen list of elements: dense nodal equations, Newton, residuals in extended precision."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from amptrail.errors import ModelError, Problem
from amptrail.twin.elements import Element

LEAK_S = 1e-9  # every net to the reference
DIODE_S = 1e-13  # in parallel with every junction
V_T = 0.025864186  # V, of the format's own text
STEP_V = 0.55  # a junction may rise this far before its step becomes logarithmic
Vector = npt.NDArray[np.longdouble]


@dataclass(frozen=True)
class Solution:
    """Node volts, and amps by position in the list of elements."""

    volts: tuple[float, ...]
    amps: tuple[float, ...]


def _lamp(u: float, p: tuple[float, ...]) -> tuple[float, float]:
    x, rated_a = u / p[0], p[1] / p[0]
    s = x * x + 1.6e-5
    soft = s**-0.225
    return rated_a * x * soft, rated_a / p[0] * soft * (1 - 0.45 * x * x / s)


def _motor(u: float, p: tuple[float, ...]) -> tuple[float, float]:
    ohm, breaks, runs, rated = p
    knee = breaks * ohm
    if abs(u) <= knee or rated <= knee:
        return u / ohm, 1 / ohm
    slope = (runs - breaks) / (rated - knee)
    return math.copysign(breaks + slope * (abs(u) - knee), u), slope


def _diode(u: float, p: tuple[float, ...]) -> tuple[float, float]:
    v = p[1] * V_T
    e = math.exp(min(u / v, 300.0))
    return p[0] * (e - 1) + DIODE_S * u, p[0] * e / v + DIODE_S


def _cell(u: float, p: tuple[float, ...]) -> tuple[float, float]:
    ohm = p[1] if p[0] + u > 0 else p[2]
    return (p[0] + u) / ohm, 1 / ohm


def _oneway(u: float, p: tuple[float, ...]) -> tuple[float, float]:
    return ((p[0] + u) / p[1], 1 / p[1]) if p[0] + u > 0 else (0.0, 0.0)


def _ref(u: float, p: tuple[float, ...]) -> tuple[float, float]:
    """u = V(pin) - V(module ground); the current leaves the supply for the pin and falls as the pin rises."""
    amps = (p[0] - u) / p[1]
    if amps <= 0:
        return 0.0, 0.0
    return (p[2], 0.0) if amps >= p[2] else (amps, -1 / p[1])


LAWS = {"lamp": _lamp, "motor": _motor, "diode": _diode, "cell": _cell, "oneway": _oneway, "ref": _ref}


def _limited(e: Element, old: float, new: float) -> float:
    """The voltage at which a nonlinear element is looked at next."""
    if e.law == "diode" and new > STEP_V and new > old + 2 * e.p[1] * V_T:
        v = e.p[1] * V_T
        return old + v * math.log1p((new - old) / v) if old > 0 else STEP_V
    if e.law in ("lamp", "motor") and old * new < 0:
        return 0.0
    if e.law == "ref":  # never jump over the steep part between its limit and nothing
        low, high = e.p[0] - e.p[1] * e.p[2], e.p[0]
        if (old < low and new > high) or (old > high and new < low):
            return (low + high) / 2
    return new


def _control(e: Element) -> tuple[int, int]:
    return (e.b, e.c) if e.law == "ref" else (e.a, e.b)


def _linear(e: Element, u: float) -> tuple[float, float]:
    """(slope S, current A at zero volts) of the element's tangent at u."""
    if e.law == "res":
        return 1 / e.p[0], -e.p[1] / e.p[0]
    amps, slope = LAWS[e.law](u, e.p)
    return slope, amps - slope * u


def _solve(G: Vector, I: Vector) -> Vector:  # noqa: E741 - the letter of a current
    """G x = I: factored in double precision, refined until the extended residual stops shrinking."""
    inverse = np.linalg.inv(G.astype(np.float64)).astype(np.longdouble)
    x: Vector = inverse @ I
    best = np.inf
    for _ in range(8):
        dx = inverse @ (I - G @ x)
        size = float(np.max(np.abs(dx), initial=0.0))
        if size >= best or size == 0.0:
            break
        x, best = x + dx, size
    return x


def _tangent(here: list[Element], at: list[float], n: int, leaky: Iterable[int]) -> tuple[Vector, Vector]:
    G = np.zeros((n, n), np.longdouble)
    I = np.zeros(n, np.longdouble)  # noqa: E741
    for k in leaky:
        G[k, k] += np.longdouble(LEAK_S)
    for e, u in zip(here, at, strict=True):
        g, i0 = _linear(e, u)
        plus, minus = _control(e)
        for node, sign in ((e.a, 1), (e.b, -1)):
            G[node, plus] += sign * np.longdouble(g)
            G[node, minus] -= sign * np.longdouble(g)
            I[node] -= sign * np.longdouble(i0)
    return G, I


def solve(here: list[Element], n: int, leaky: Iterable[int], reference: int) -> Solution:
    """Volts of every node against `reference`, amps of every element; ModelError when Newton never ends."""
    leaky = sorted(leaky)
    at = [0.0] * len(here)
    keep = np.array([k for k in range(n) if k != reference])
    for sweep in range(200):
        G, I = _tangent(here, at, n, leaky)  # noqa: E741
        # a node that nothing holds (an opened leg's inner end) is held by a trace of conductance
        lone = np.flatnonzero(np.abs(G).sum(axis=1) == 0)
        G[lone, lone] = np.longdouble(LEAK_S)
        V = np.zeros(n, np.longdouble)
        V[keep] = _solve(G[np.ix_(keep, keep)], I[keep])
        u = [float(V[plus] - V[minus]) for plus, minus in map(_control, here)]
        moved = max((abs(x - y) for e, x, y in zip(here, u, at, strict=True) if e.law != "res"), default=0.0)
        if moved < 1e-10 or (sweep > 60 and moved < 1e-9):
            amps = [
                LAWS[e.law](x, e.p)[0] if e.law != "res" else (x - e.p[1]) / e.p[0]
                for e, x in zip(here, u, strict=True)
            ]
            return Solution(tuple(float(v) for v in V), tuple(amps))
        limited = [_limited(e, y, x) for e, x, y in zip(here, u, at, strict=True)]
        at = limited if sweep < 60 else [y + 0.5 * (x - y) for x, y in zip(limited, at, strict=True)]
    raise ModelError((Problem("twin-newton", "the twin finds no operating point"),))
