"""Current laws of the elements that are no plain resistance, and how far one Newton step may carry each.

Every law gives (amps, siemens) at u = V(a) - V(b); `ref` at u = V(pin) - V(module ground). Laws: the neutral
format's own text (authorities/oracle/README.md) and the tables of `circuit/parts`.
"""

from __future__ import annotations

import math
from typing import Literal

Law = Literal["res", "cell", "oneway", "lamp", "motor", "diode", "ref", "sat"]
Numbers = tuple[float, ...]
DIODE_S = 1e-13  # in parallel with every junction
V_T = 0.025864186  # V, of the format's own text
STEP_V = 0.55  # a junction may rise this far before its step becomes logarithmic


def _lamp(u: float, p: Numbers) -> tuple[float, float]:
    x, rated_a = u / p[0], p[1] / p[0]
    s = x * x + 1.6e-5
    soft = s**-0.225
    return rated_a * x * soft, rated_a / p[0] * soft * (1 - 0.45 * x * x / s)


def _motor(u: float, p: Numbers) -> tuple[float, float]:
    ohm, breaks, runs, rated = p
    knee = breaks * ohm
    if abs(u) <= knee or rated <= knee:
        return u / ohm, 1 / ohm
    slope = (runs - breaks) / (rated - knee)
    return math.copysign(breaks + slope * (abs(u) - knee), u), slope


def _diode(u: float, p: Numbers) -> tuple[float, float]:
    v = p[1] * V_T
    e = math.exp(min(u / v, 300.0))
    return p[0] * (e - 1) + DIODE_S * u, p[0] * e / v + DIODE_S


def _cell(u: float, p: Numbers) -> tuple[float, float]:
    ohm = p[1] if p[0] + u > 0 else p[2]
    return (p[0] + u) / ohm, 1 / ohm


def _oneway(u: float, p: Numbers) -> tuple[float, float]:
    return ((p[0] + u) / p[1], 1 / p[1]) if p[0] + u > 0 else (0.0, 0.0)


def _ref(u: float, p: Numbers) -> tuple[float, float]:
    """The current leaves the supply for the pin and falls as the pin rises."""
    amps = (p[0] - u) / p[1]
    if amps <= 0:
        return 0.0, 0.0
    return (p[2], 0.0) if amps >= p[2] else (amps, -1 / p[1])


def _sat(u: float, p: Numbers) -> tuple[float, float]:
    """A resistance that lets at most p[1] amperes through, in either direction."""
    amps = u / p[0]
    return (math.copysign(p[1], u), 0.0) if abs(amps) >= p[1] else (amps, 1 / p[0])


LAWS = {
    "lamp": _lamp, "motor": _motor, "diode": _diode, "cell": _cell, "oneway": _oneway, "ref": _ref,
    "sat": _sat,
}  # fmt: skip


def amps(law: Law, u: float, p: Numbers) -> float:
    """Current of any law, A."""
    return (u - p[1]) / p[0] if law == "res" else LAWS[law](u, p)[0]


def _steep(law: Law, p: Numbers) -> tuple[float, float] | None:
    """The two ends of the only sloping piece of a law that is flat on both sides."""
    if law == "ref":
        return p[0] - p[1] * p[2], p[0]
    return (-p[0] * p[1], p[0] * p[1]) if law == "sat" else None


def limited(law: Law, p: Numbers, old: float, new: float) -> float:
    """The voltage at which an element is looked at next, when the last look was at `old`.

    A junction steps in logarithm; a lamp or motor that changes sign starts again at 0; a law that is flat at
    both ends is not jumped over.
    """
    if law == "diode":
        v = p[1] * V_T
        if new > STEP_V and new > old + 2 * v:
            return old + v * math.log1p((new - old) / v) if old > 0 else STEP_V
        return new
    if law in ("lamp", "motor"):
        return 0.0 if old * new < 0 else new
    piece = _steep(law, p)
    if piece and ((old <= piece[0] and new >= piece[1]) or (old >= piece[1] and new <= piece[0])):
        return (piece[0] + piece[1]) / 2
    return new
