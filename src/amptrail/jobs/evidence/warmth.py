"""Hot, warm or cold to the hand: what a current does to the wire or joint it passes.

A wire warms by the lesser of two laws: adiabatic at first (copper keeps the heat), steady in the end (the
ampacity table). Joints and other parts: by the watts lost in them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Part
from amptrail.circuit.phases import drive_cycle, seconds
from amptrail.circuit.tables import number
from amptrail.reference.wire import Wire, ampacity_a
from amptrail.solve.assemble import COPPER

if TYPE_CHECKING:
    from amptrail.jobs.solved.predicted import Solved

Array = NDArray[np.float64]
HOT_K, WARM_K = 30.0, 8.0  # above the air: hand drawn back; clearly felt (common practice)
EDGE = 0.35  # width of both edges in natural log of the rise
LIMIT_C, AIR_C = 105, 30.0  # the ampacity table's own condition (33 CFR 183.425 Table 5)
VOLUME_HEAT = 3.45e6  # J/(m3 K) of copper: 8960 kg/m3 x 385 J/(kg K), any handbook (from memory)
LEAST_S = 10.0  # a short phase is tried again before anyone feels for heat
K_PER_W = 10.0  # a joint of ordinary size (common practice)


def _step(x: Array, edge: float) -> Array:
    return np.asarray(1 / (1 + np.exp(-np.clip((np.log(np.maximum(x, 1e-9) / edge)) / EDGE, -60, 60))))


def rise_k(area_mm2: float, amps: Array, time_s: float) -> Array:
    """Rise of a wire's copper above the air (K) after `time_s` at `amps`."""
    wire = Wire("", area_mm2, COPPER / area_mm2, "computed", "the area of the sheet", area_mm2)
    limit = max(ampacity_a(wire, AIR_C, LIMIT_C), 1e-6)
    steady = (LIMIT_C - AIR_C) * (amps / limit) ** 2
    per_m2 = amps / (area_mm2 * 1e-6)
    adiabatic = (COPPER * 1e-6) * per_m2**2 / VOLUME_HEAT * time_s
    return np.asarray(np.minimum(steady, adiabatic), np.float64)


def warmth(circuit: Circuit, part: Part, phase: int, got: Solved) -> dict[str, Array]:
    """P(hot), P(warm), P(cold) of a part at the end of a phase, per lane; they sum to one."""
    amps = np.abs(got.amps(part.name, phase))
    if part.kind == "wire" and part.said("ohm") is None:
        time_s = max(seconds(drive_cycle(circuit)[phase]), LEAST_S)
        rise = rise_k(number(part, "area_mm2"), amps, time_s)
    else:
        rise = K_PER_W * amps * np.abs(got.across(part.name, phase))
    hot, felt = _step(rise, HOT_K), _step(rise, WARM_K)
    return {"hot": hot, "warm": np.maximum(felt - hot, 0.0), "cold": 1 - np.maximum(felt, hot)}
