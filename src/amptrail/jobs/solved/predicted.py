"""What observations would read on lanes that were run: predictions, tolerances, wrong places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Term, key
from amptrail.instruments import by_name
from amptrail.jobs.solved.columns import Columns
from amptrail.jobs.solved.lanes import Lanes
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.session import Session, tap
from amptrail.jobs.solved.spots import Spot, battery_plus
from amptrail.solve.network import Network
from amptrail.solve.readings import Tap, read
from amptrail.solve.runs import Runs
from amptrail.solve.second import Seconds, seconds
from amptrail.solve.settle import CHATTER

Array = NDArray[np.float64]
WRONG_POINTS, WRONG_PHASES = 3, 1  # wrong places considered for a misprobe
WRONG_PLACES = WRONG_POINTS + WRONG_PHASES
LEAST_OHM = 0.05  # of an ohmmeter's reading: leads and tips are more (common practice)
UNSURE_SHARE, UNSURE_STEPS = 0.05, 2.0  # how far off a figure told as unsure may be (common practice)
BATTERY_DRIFT = 0.008  # how far a battery line and the reading under it may be apart (common practice)


@dataclass(frozen=True, eq=False)
class Part:
    """Predictions of some numeric observations: `mean[lane, m]`, `cov[lane, m, m]`, `others[lane, m, k]`, and
    the readings themselves as `value[m]`, `sigma[m]`."""

    mean: Array
    cov: Array
    others: Array
    value: Array
    sigma: Array


class Solved(Lanes):
    """Lanes run under some standing conditions, ready to be read."""

    def __init__(self, session_: Session, runs: Runs) -> None:
        super().__init__(session_, runs)
        self.read = Columns(session_.network, runs)
        self._seconds: tuple[NDArray[np.intp], Seconds] | None = None

    def measure(self, jobs: Sequence[tuple[Spot, str, int]]) -> tuple[Array, list[tuple[str, ...]]]:
        """(value[lane, job], what each job's instrument switches on the first lane). A lane without a steady
        value gives the middle of its range; over range gives 20 Mohm."""
        got = self.read.read([(tap(s, i), self._slot(p)) for s, i, p in jobs])
        value = np.stack([c.value for c in got], axis=1) if got else np.zeros((len(self.runs.status), 0))
        return value, [c.disturbs for c in got]

    def columns(self, seen: Sequence[Observation]) -> Part:
        """Predictions, tolerances and wrong-place alternatives for numeric observations."""
        spots, asked = [self._spot(o) for o in seen], [self.asked(o) for o in seen]
        slots = [slot for _, slot in asked]
        mean = np.stack([c.value for c in self.read.read(asked)], axis=1)
        battery = [o.battery_v is not None for o in seen]
        cov = self.read.covariance(asked, battery)
        value = np.zeros(len(seen))
        sigma = np.ones(len(seen))
        for t, o in enumerate(seen):
            scale, raw = self._battery_scale(o, slots[t]), mean[:, t].copy()
            mean[:, t] = self.told(o, raw)
            cov[:, t, :] *= scale[:, None]
            cov[:, :, t] *= scale[:, None]
            instrument = by_name(o.instrument)
            value[t] = self._value(o)
            sigma[t] = instrument.sigma(value[t])
            if o.battery_v is not None and o.tool != "ohmmeter":  # the battery was read at another moment
                sigma[t] = float(np.hypot(sigma[t], BATTERY_DRIFT * value[t]))
            if o.unsure or o.jumping:  # "not sure" widens, never drops
                sigma[t] = max(sigma[t], UNSURE_SHARE * abs(value[t]), UNSURE_STEPS * sigma[t])
            if o.unsigned:
                way = np.where(raw < 0, -1.0, 1.0)
                cov[:, t, :] *= way[:, None]
                cov[:, :, t] *= way[:, None]
            if o.kind == "same":
                cov[:, t, :] /= 12.0
                cov[:, :, t] /= 12.0
                value[t], sigma[t] = 1.0, 0.02
            if o.kind == "range":
                value[t] = (o.low + o.high) / 2
            if o.tool == "ohmmeter":  # ohms span decades: compare logarithms
                cov[:, t, t] /= np.maximum(raw, LEAST_OHM) ** 2
                value[t], sigma[t] = np.log(max(o.value, LEAST_OHM)), log_sigma(o.value)
        return Part(mean, cov, self._others(spots, seen, slots), value, sigma)

    def told(self, o: Observation, raw: Array, lanes: NDArray[np.intp] | None = None) -> Array:
        """Raw readings [lane, ...] as the observation tells them: of the battery as it was then, without
        sign, as a share of the supply, ohms as logarithms. `lanes`: those that were read, all by default."""
        slot, which = self._slot(o.phase or 0), slice(None) if lanes is None else lanes
        shape = (-1, *(1,) * (raw.ndim - 1))
        scale = self._battery_scale(o, slot)[which].reshape(shape)
        if o.tool == "ohmmeter":
            return np.asarray(np.log(np.maximum(raw * scale, LEAST_OHM)), np.float64)
        out = np.abs(raw * scale) if o.unsigned else raw * scale
        if o.kind == "same":
            out = out / np.maximum(self._supply(slot)[which].reshape(shape) * scale, 1e-3)
        return np.asarray(out, np.float64)

    def asked(self, o: Observation) -> tuple[Tap, int]:
        """The tap and phase slot of a numeric observation."""
        return tap(self._spot(o), o.instrument), self._slot(o.phase or 0)

    def seconds(self, which: NDArray[np.intp]) -> Seconds:
        """The faults of these lanes, the first of which has none, as second faults; the last ones stay."""
        if self._seconds is None or not np.array_equal(self._seconds[0], which):
            self._seconds = which, seconds(self.session.network, self.runs, which)
        return self._seconds[1]

    def _spot(self, o: Observation) -> Spot:
        if o.spot is None:
            raise AssertionError("a numeric observation has a spot")
        return o.spot

    def _value(self, o: Observation) -> float:
        return o.value

    def _supply(self, slot: int) -> Array:
        net = self.session.network
        return np.asarray(self.runs.volts[:, slot, net.node(battery_plus(self.session.circuit))], np.float64)

    def _battery_scale(self, o: Observation, slot: int) -> Array:
        """Readings as fractions of the battery at that moment (JOB.md step 2)."""
        ones = np.ones(self.runs.status.shape[0])
        if o.battery_v is None or o.tool == "ohmmeter":
            return ones
        now = self._supply(slot)
        good = now > 3.0
        return np.where(good, o.battery_v / np.where(good, now, 1.0), ones)

    def _others(self, spots: Sequence[Spot], seen: Sequence[Observation], slots: Sequence[int]) -> Array:
        """What neighbours and other phases would have shown (volts; a clamp's neighbour is nothing)."""
        net, volts = self.session.network, self.runs.volts
        out = np.zeros((len(volts), len(seen), WRONG_PLACES))
        count = len(self.runs.phases)
        for t, (s, o) in enumerate(zip(spots, seen, strict=True)):
            if s.what != "volts" or o.kind == "same":
                continue
            a = net.node(s.a)
            b = net.node(s.b) if s.b else net.static.ground
            near = _neighbours(self.session.circuit, s.a, net)
            for k in range(WRONG_POINTS):
                n = near[k] if k < len(near) else net.static.ground
                out[:, t, k] = volts[:, slots[t], n] - volts[:, slots[t], b]
            other = (slots[t] + 1) % count
            out[:, t, WRONG_POINTS] = volts[:, other, a] - volts[:, other, b]
        return out

    def swing(self, o: Observation) -> Array:
        """How far a reading goes up and down where nothing comes to rest, V or A, per lane; else 0."""
        what, slot = self.asked(o)
        got = read(self.session.network, self.runs, [what], _only(len(self.runs.phases), slot))
        wide = got.high[:, slot, 0] - got.low[:, slot, 0]
        return np.where(got.status[:, slot, 0] == CHATTER, wide, 0.0)

    def lamp_volts(self, o: Observation) -> Array:
        """Volts across the test lamp of an observation, per lane."""
        return self.measure([(self._spot(o), o.instrument, o.phase or 0)])[0][:, 0]


def _only(slots: int, slot: int) -> NDArray[np.bool_]:
    """[slot, tap] of one tap, asked in one phase."""
    return np.asarray((np.arange(slots) == slot)[:, None], np.bool_)


def log_sigma(ohm: float) -> float:
    """One sigma of an ohmmeter's reading as a share of it: leads and tips (common practice)."""
    return 0.1 + 0.3 / max(ohm, 0.3)


def _neighbours(circuit: Circuit, at: Term, net: Network) -> list[int]:
    """Nodes of other terminals of the same part or connector: the likely wrong places."""
    mine = net.node(at)
    found = dict.fromkeys(n for (p, _), n in net.node_index.items() if p == key(at.part) and n != mine)
    return list(found)[:WRONG_POINTS]
