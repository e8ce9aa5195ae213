"""Element laws: current and slope of every two-ended kind (compiled). Laws of oracle-1; SI units throughout.

A branch carries current a->b. Its element voltage `x` leaves out any series resistance of the branch.
Every law is non-falling, so the operating point is unique and Newton can be made safe.
"""

from __future__ import annotations

import math

from numba import njit

NONE, RES, BATTERY, LAMP, MOTOR, DIODE, ONEWAY, SAT, CURRENT = range(9)
# How a branch is switched: by a switch row, relay contact, driver, module, fuse or alternator.
ALWAYS, SWITCH, MADE, BROKEN, DRIVER, SUPPLY, PULL, REF, FUSE, CHARGE, LOWSIDE, COPY = range(12)
THERMAL_V = 0.025864186  # kT/q of the laws oracle-1
MIN_OHM = 1e-6
DIODE_LEAK_S = 1e-13
LAMP_BEND = 70.0  # half of the greatest |i''/i'| of a lamp times its rated volts (68.2), rounded up


@njit(cache=True, nogil=True, error_model="numpy", inline="never")
def current(kind: int, x: float, p0: float, p1: float, p2: float, p3: float) -> tuple[float, float]:
    """(amperes a->b, siemens) at element voltage x of a nonlinear kind."""
    if kind == BATTERY:  # a = minus, b = plus: x = -(volts at the posts)
        g = 1.0 / max(p1 if x + p0 > 0.0 else p2, MIN_OHM)
        return (x + p0) * g, g
    if kind == LAMP:
        y = x / p0
        q = y * y + 1.6e-5
        s = p1 / p0 * q**-0.225
        return s * y, s * (1.0 - 0.45 * y * y / q) / p0
    if kind == MOTOR:
        knee = p0 * p1
        if abs(x) <= knee or p3 <= knee:
            return x / p0, 1.0 / p0
        g = (p2 - p1) / (p3 - knee)
        i = p1 + g * (abs(x) - knee)
        return (i if x > 0.0 else -i), g
    if kind == DIODE:
        n = p1 * THERMAL_V
        e = p0 * math.exp(min(x / n, 80.0))
        return e - p0 + DIODE_LEAK_S * x, e / n + DIODE_LEAK_S
    if kind == ONEWAY:  # a = ground, b = output: delivers (p0 - V)/p1, never absorbs, at most p2
        i = (x + p0) / max(p1, MIN_OHM)
        if i <= 0.0:
            return 0.0, 0.0
        if i >= p2:
            return p2, 0.0
        return i, 1.0 / max(p1, MIN_OHM)
    i = x / max(p0, MIN_OHM)  # SAT: a resistance up to p1 amperes
    if abs(i) >= p1:
        return (p1 if i > 0.0 else -p1), 0.0
    return i, 1.0 / max(p0, MIN_OHM)


@njit(cache=True, nogil=True, error_model="numpy", inline="never")
def limited(kind: int, old: float, new: float, p0: float, p1: float, p2: float) -> float:
    """The step Newton may take: lamps and motors restart at a change of sign, diodes step in logarithm,
    a limited source may not jump from one flat end of its law over the sloping piece to the other."""
    if kind in (LAMP, MOTOR):
        return 0.0 if old * new < 0.0 else new
    if kind == DIODE:
        n = p1 * THERMAL_V
        knee = n * math.log(n / (1.4142135623730951 * p0))  # 0.6 V for the standard diode
        if new > knee and abs(new - old) > 2.0 * n:
            if old > 0.0:
                arg = 1.0 + (new - old) / n
                return old + n * math.log(arg) if arg > 0.0 else knee
            return n * math.log(new / n)
    if kind in (ONEWAY, SAT):
        low = -p0 if kind == ONEWAY else -p1 * max(p0, MIN_OHM)
        high = low + p2 * max(p1, MIN_OHM) if kind == ONEWAY else -low
        if (old >= high and new <= low) or (old <= low and new >= high):
            return 0.5 * (low + high)
    return new


@njit(cache=True, nogil=True, error_model="numpy", inline="never")
def let_down(old: float, new: float, amps: float, saturation_a: float, n: float) -> float:
    """A diode that Newton takes down goes straight to where it would carry the amperes that are left for it:
    by its tangents it comes down one n kT/q a step, 20 steps from lit to dark."""
    width = n * THERMAL_V
    if old - new < 0.5 * width:
        return new
    return min(new, width * math.log1p(amps / saturation_a) if amps > 0.0 else 0.0)


@njit(cache=True, nogil=True, error_model="numpy", inline="never")
def share(kind: int, u: float, r: float, p0: float, p1: float, p2: float, p3: float) -> float:
    """The element voltage x of a law with r ohm in series and u volts across both: x + r i(x) = u.

    The left side rises at least as fast as x, so the answer lies no farther from any x than what is missing.
    """
    if r <= 0.0:
        return u
    low, high = -math.inf, math.inf
    x = min(u, 0.5) if kind == DIODE else u  # from above a diode comes down only 40 mV a step
    for _ in range(300):
        i, g = current(kind, x, p0, p1, p2, p3)
        miss = x + r * i - u
        if abs(miss) <= 1e-15 * (abs(u) + abs(r * i)):
            break
        if miss > 0.0:
            high = min(high, x)
            low = max(low, x - miss)
        else:
            low = max(low, x)
            high = min(high, x - miss)
        new = x - miss / (1.0 + r * g)
        if not low < new < high:
            new = 0.5 * (low + high)
        if new == x:
            break
        x = new
    return x
