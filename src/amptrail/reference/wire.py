"""Copper wire: resistance by size and temperature, ampacity, metric and AWG."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from amptrail.errors import one
from amptrail.reference.rows import Status, optional, rows, status

RHO_OHM_MM2_PER_M = 1 / 58  # IEC 60028: annealed copper at 20 C (seen)
ALPHA_PER_K = 0.00393  # IEC 60028, at 20 C (seen)
CMIL_MM2 = math.pi / 4 * 0.0254**2  # a circle one thousandth of an inch across
ADIABATIC_K = 115.0  # A sqrt(s)/mm2, copper in PVC: IEC 60364-4-43 (memory)
INSULATIONS_C = (60, 75, 80, 90, 105, 125, 200)
TABLE_AMBIENT_C = 30.0  # 33 CFR 183.425 Table 5


@dataclass(frozen=True, slots=True)
class Wire:
    """One size. `ohm_per_m` is the standard's maximum at 20 C; `effective_mm2` the copper that gives it.

    `gauge_mm2`: area under which ampacity is looked up (the gauge's own; None: the effective area, which
    errs to the safe side, since a wire of a gauge has less copper than its gauge).
    """

    name: str
    nominal_mm2: float
    ohm_per_m: float
    status: Status
    source: str
    gauge_mm2: float | None = None

    @property
    def effective_mm2(self) -> float:
        """Copper area that explains the resistance, mm2."""
        return RHO_OHM_MM2_PER_M / self.ohm_per_m

    def ohm_per_m_at(self, celsius: float) -> float:
        """Largest resistance of one metre at a copper temperature, ohm."""
        return self.ohm_per_m * copper_factor(celsius)

    @property
    def adiabatic_a2s(self) -> float:
        """Largest let-through that its insulation survives, A2s (IEC 60364-4-43, k = 115)."""
        return (ADIABATIC_K * self.nominal_mm2) ** 2


def copper_factor(celsius: float) -> float:
    """Resistance of copper against that at 20 C (IEC 60028)."""
    return 1 + ALPHA_PER_K * (celsius - 20)


@cache
def metric_wires() -> tuple[Wire, ...]:
    """Metric vehicle wire, thinnest first."""
    return tuple(
        Wire(f"{r['area_mm2']} mm2", float(r["area_mm2"]), float(r["max_mohm_per_m_20c"]) / 1000,
             status(r["status"]), r["source"])
        for r in rows("wire_metric")
    )  # fmt: skip


@cache
def awg_wires() -> tuple[Wire, ...]:
    """AWG sizes as vehicle wire (SAE minimum area where listed), thinnest first."""
    found = []
    for r in rows("wire_awg"):
        cmil = optional(r["min_cmil"])
        area = cmil * CMIL_MM2 if cmil is not None else float(r["solid_mm2"])
        ohm = float(r["mohm_per_m_20c"]) / 1000
        found.append(
            Wire(f"{r['awg']} AWG", area, ohm, status(r["status"]), r["source"], float(r["solid_mm2"]))
        )
    return tuple(found)


def gauge_mm2(size: str) -> float | None:
    """Copper of an AWG size, solid, mm2; None for a size the table does not have."""
    return next((w.gauge_mm2 for w in awg_wires() if w.name == f"{size} AWG"), None)


def metric(area_mm2: float) -> Wire:
    """The metric size of exactly this area; InputError lists the sizes."""
    for w in metric_wires():
        if w.nominal_mm2 == area_mm2:
            return w
    raise one("wire-size", f"{area_mm2:g} mm2 is no metric wire size",
              expected=tuple(w.name for w in metric_wires()))  # fmt: skip


@cache
def _ampacity_points(insulation_c: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    by_awg = {r["awg"]: float(r["solid_mm2"]) for r in rows("wire_awg")}
    points = [
        (by_awg[r["awg"]], float(r[f"a{insulation_c}c"])) for r in rows("ampacity") if r["awg"] in by_awg
    ]
    points.sort()
    return tuple(math.log(a) for a, _ in points), tuple(math.log(i) for _, i in points)


def ampacity_a(wire: Wire, ambient_c: float, insulation_c: int = 105) -> float:
    """Steady current that brings the wire to its insulation limit, A; 0 where the air is too hot already.

    33 CFR 183.425 Table 5 (one wire in free air at 30 C), log-log between sizes by copper area; below the
    table with the slope of its first step, above it held. Other ambients by the square root of the margin.
    """
    if insulation_c not in INSULATIONS_C:
        raise one("insulation", f"no ampacity for {insulation_c} C insulation",
                  expected=tuple(f"{t} C" for t in INSULATIONS_C))  # fmt: skip
    x, y = _ampacity_points(insulation_c)
    at = math.log(wire.gauge_mm2 or wire.effective_mm2)
    slope = max((y[1] - y[0]) / (x[1] - x[0]), 0.5)
    log_amps = y[0] + slope * (at - x[0]) if at < x[0] else float(np.interp(at, x, y))
    margin = (insulation_c - ambient_c) / (insulation_c - TABLE_AMBIENT_C)
    return math.exp(log_amps) * math.sqrt(max(margin, 0.0))


def temperature_c(wire: Wire, amps: float, ambient_c: float, insulation_c: int = 105) -> float:
    """Copper temperature at a steady current: rise as its square, to the insulation limit at ampacity."""
    limit = ampacity_a(wire, TABLE_AMBIENT_C, insulation_c)
    return ambient_c + (insulation_c - TABLE_AMBIENT_C) * (amps / limit) ** 2
