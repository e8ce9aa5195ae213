"""The solver as the use cases see it: circuits in, named readings and states out.

Everything here is bookkeeping between names and arrays; the numbers come from `amptrail.solve`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Circuit, Fault, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.faults import changes
from amptrail.instruments import by_name
from amptrail.jobs.base.kept import MEBIBYTE, Kept
from amptrail.jobs.solved.acting import Faults, acting
from amptrail.jobs.solved.columns import Columns
from amptrail.jobs.solved.feeds import fitted
from amptrail.jobs.solved.observe import Conditions, Observation
from amptrail.jobs.solved.spots import Spot, battery_plus
from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Change, Kind
from amptrail.solve.network import Network
from amptrail.solve.readings import Tap, read
from amptrail.solve.runs import STATUS, Runs, State, run
from amptrail.solve.second import Seconds, seconds
from amptrail.solve.settle import CHATTER, NOT_CONVERGED
from amptrail.solve.tolerance import spread

Array = NDArray[np.float64]
Lane = tuple[Change, ...]
Json = dict[str, Any]
WRONG_POINTS, WRONG_PHASES = 3, 1  # wrong places considered for a misprobe
WRONG_PLACES = WRONG_POINTS + WRONG_PHASES
FED_V = 1.0  # below this a load is not fed, and its conductance says nothing (common practice)
LEAST_OHM = 0.05  # of an ohmmeter's reading: leads and tips are more (common practice)
UNSURE_SHARE, UNSURE_STEPS = 0.05, 2.0  # how far off a figure told as unsure may be (common practice)
BATTERY_DRIFT = 0.008  # how far a battery line and the reading under it may be apart (common practice)
Z90 = 1.6448536269514722  # 5 to 95 % of a normal distribution


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: value (None where there is no steady one), band, what the instrument switched."""

    value: float | None
    low: float | None
    high: float | None
    disturbs: tuple[str, ...]
    alternates: tuple[float, float] | None
    flags: tuple[str, ...]

    def flagged(self, more: tuple[str, ...]) -> Reading:
        """The same reading with further flags."""
        return replace(self, flags=(*self.flags, *more)) if more else self


@dataclass(frozen=True, slots=True)
class PhaseState:
    """Status and discrete state at the end of a phase, ready for JSON."""

    status: str
    state: Json
    chatter: tuple[str, ...]
    alternatives: tuple[Json, ...]  # both ends of a race


def tap(spot: Spot, instrument: str) -> Tap:
    """The tap of an instrument by name (`lamp 21 W`, `loaded 3 ohm`) at a spot."""
    if spot.what == "amps":
        return Tap(spot.a if spot.a.name else spot.a.part, None, "clamp")
    if spot.what == "ohms" or instrument == "ohmmeter":
        return Tap(spot.a, spot.b, "ohmmeter")
    known = by_name(instrument)
    return Tap(spot.a, spot.b, known.tap_kind, known.tap_parameters)


class Session:
    """One compiled circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.network: Network = assemble(circuit)
        self._known: dict[Fault, Lane] = {}

    def lane(self, faults: Faults) -> Lane:
        """The changes of some faults at once."""
        return tuple(c for f in faults for c in self._changes(f))

    def _changes(self, fault: Fault) -> Lane:
        """The changes of one fault, worked out once: pairs bring the same ones again and again."""
        known = self._known.get(fault)
        if known is None:
            known = self._known[fault] = tuple(changes(self.network, fault))
        return known

    def condition_changes(self, c: Conditions) -> Lane:
        """Standing conditions as changes."""
        out = [Change(Kind.UNPLUG, x) for x in c.unplugged]
        out += [Change(Kind.RELAY_OUT if self._is(x, "relay") else Kind.UNPLUG, x) for x in c.out]
        out += [Change(Kind.FUSE_OUT if self._is(x, "fuse") else Kind.UNPLUG, x) for x in c.pulled]
        out += [Change(Kind.SWITCH_HELD, x, "closed") for x in c.on]
        out += [Change(Kind.SWITCH_HELD, x, "open") for x in c.off]
        return tuple(out)

    def _is(self, name: str, kind: str) -> bool:
        return any(key(p.name) == key(name) and p.kind == kind for p in self.circuit.parts)

    def run(
        self, lanes: Sequence[Lane], start: str, cycles: int, phases: Sequence[int] | None = None
    ) -> Runs:
        """Drive cycles of many lanes; `phases` limits what is kept."""
        names = None if phases is None else [self.network.phases[p].name for p in phases]
        return run(self.network, lanes, start, cycles, names)

    def read_all(
        self, runs: Runs, asked: Sequence[tuple[Spot, str]], phases: Sequence[int], bands: bool
    ) -> list[list[list[Reading]]]:
        """[lane][phase slot][asked] of readings at the phases given (indices kept in `runs`)."""
        taps = [tap(s, i) for s, i in asked]
        got = read(self.network, runs, taps)
        wide = spread(self.network, runs, got) if bands and taps else np.zeros(got.value.shape)
        slots = [runs.phases.index(p) for p in phases]
        return [
            [[_reading(got, wide, lane, slot, t) for t in range(len(taps))] for slot in slots]
            for lane in range(runs.status.shape[0])
        ]

    def read_off(self, runs: Runs, asked: Sequence[tuple[Spot, str]]) -> list[list[Reading]]:
        """[lane][asked] of ohmmeter readings with battery and charger away."""
        got = read(self.network, runs, [tap(s, i) for s, i in asked])
        none = np.zeros(got.value.shape)
        return [
            [_reading(got, none, lane, -1, t) for t in range(len(asked))]
            for lane in range(runs.status.shape[0])
        ]

    def state(self, runs: Runs, lane: int, phase: int) -> PhaseState:
        """The state at the end of a phase, with what buzzes and how else a race could have ended."""
        slot = runs.phases.index(phase)
        return PhaseState(
            STATUS[int(runs.status[lane, slot])],
            listed(runs.state(lane, slot)),
            runs.chattering(lane, slot),
            tuple(listed(s) for s in runs.alternatives(lane, slot)),
        )


def listed(s: State) -> Json:
    """A discrete state as the contract lists it (docs/json.md, State)."""
    return {
        "relays_energised": list(s.relays_energised),
        "modules_awake": list(s.modules_awake),
        "drivers_on": list(s.drivers_on),
        "drivers_tripped": list(s.drivers_tripped),
        "fuses_open": list(s.fuses_open),
        "charging": list(s.charging),
    }


def _reading(got: Any, wide: Array, lane: int, slot: int, t: int) -> Reading:
    status = int(got.status[lane, slot, t])
    flags = tuple(f for f in got.flags(lane, slot, t))
    if status == NOT_CONVERGED:
        return Reading(None, None, None, (), None, flags)
    if status == CHATTER:
        ends = (float(got.low[lane, slot, t]), float(got.high[lane, slot, t]))
        return Reading(None, None, None, (), ends, flags)
    if bool(got.over[lane, slot, t]):
        return Reading(None, None, None, (), None, flags)
    value, half = float(got.value[lane, slot, t]), Z90 * float(wide[lane, slot, t])
    return Reading(value, value - half, value + half, got.disturbs(lane, slot, t), None, flags)


@lru_cache(maxsize=32)
def session(circuit: Circuit) -> Session:
    """The compiled circuit, kept."""
    return Session(circuit)


@lru_cache(maxsize=32)
def reachable_phases(circuit: Circuit) -> tuple[int, ...]:
    """Phases of the drive cycle that a person can bring about: all that the cycle names."""
    return tuple(range(len(drive_cycle(circuit))))


@dataclass(frozen=True, eq=False)
class Part:
    """Predictions of some numeric observations: `mean[lane, m]`, `cov[lane, m, m]`, `others[lane, m, k]`, and
    the readings themselves as `value[m]`, `sigma[m]`."""

    mean: Array
    cov: Array
    others: Array
    value: Array
    sigma: Array


class Solved:
    """Lanes run under some standing conditions, ready to be read."""

    def __init__(self, session_: Session, runs: Runs) -> None:
        self.session, self.runs = session_, runs
        self.read = Columns(session_.network, runs)
        self._healthy: Solved | None = None  # the circuit with nothing broken, as a measure
        self._seconds: tuple[NDArray[np.intp], Seconds] | None = None

    def _slot(self, phase: int) -> int:
        return self.runs.phases.index(max(phase, 0))

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
            if o.unsure:  # "not sure" widens, never drops
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

    # ---- states ---------------------------------------------------------------------------------
    def state_hash(self, phases: Sequence[int]) -> NDArray[np.int64]:
        """One number a lane for its discrete state in these phases."""
        out = np.zeros(self.runs.status.shape[0], np.int64)
        for p in phases:
            bits = self.runs.snapshot.state[:, self._slot(p), :]
            for k in range(bits.shape[1]):
                out = out * 31 + bits[:, k].astype(np.int64) + 7
        return out

    def volts(self, a: Term, b: Term, phase: int) -> Array:
        """Volts from a to b at the end of a phase, per lane."""
        net, v = self.session.network, self.runs.volts[:, self._slot(phase)]
        return np.asarray(v[:, net.node(a)] - v[:, net.node(b)], np.float64)

    def across(self, part: str, phase: int) -> Array:
        """Volts across a two-ended part, per lane; a starter's motor, a module's supply for those kinds."""
        net = self.session.network
        b = net.branch(part)
        v = self.runs.volts[:, self._slot(phase)]
        return np.asarray(v[:, self.runs.lanes.na[0, b]] - v[:, self.runs.lanes.nb[0, b]], np.float64)

    def amps(self, part: str, phase: int) -> Array:
        """Amps through a two-ended part, per lane, in -> out."""
        b = self.session.network.branch(part)
        return np.asarray(self.runs.amps[:, self._slot(phase), b], np.float64)

    def live_share(self, part: str, phase: int) -> Array:
        """How much of the volts at a load's terminals reach what works inside it, per lane, 0 to 1.

        A burnt-out load has full volts and no current: its conductance beside a healthy vehicle's tells,
        in this phase, or where it is not fed then in the one that feeds it most.
        """
        volts, amps = np.abs(self.across(part, phase)), np.abs(self.amps(part, phase))
        fed = volts > FED_V
        usual = self._usual(part, phase)
        if not fed.any() or not usual > 0:
            return np.ones(len(volts))
        return np.minimum(1.0, np.where(fed, amps / np.where(fed, volts, 1.0), np.inf) / usual)

    def _usual(self, part: str, phase: int) -> float:
        """Siemens of a load in a healthy vehicle; 0 where nothing ever feeds it."""
        if self._healthy is None:
            self._healthy = Solved(self.session, self.session.run([()], "asleep", 2))
        runs, b = self._healthy.runs, self.session.network.branch(part)
        volts = np.abs(runs.volts[0][:, runs.lanes.na[0, b]] - runs.volts[0][:, runs.lanes.nb[0, b]])
        slot = self._slot(phase)
        slot = slot if volts[slot] > FED_V else int(volts.argmax())
        return float(np.abs(runs.amps[0, slot, b]) / volts[slot]) if volts[slot] > FED_V else 0.0

    def _item(self, name: str, phase: int) -> Array:
        net = self.session.network
        for k, item in enumerate(net.items):
            if key(item) == key(name):
                return np.asarray(self.runs.snapshot.state[:, self._slot(phase), k], np.float64)
        return np.zeros(self.runs.status.shape[0])

    def energised(self, relay: str, phase: int) -> Array:
        """1 where the relay's winding holds, per lane."""
        return self._item(f"relay {relay}", phase)

    def blown(self, fuse: str) -> NDArray[np.bool_]:
        """Where a current has opened the fuse in some phase, per lane."""
        return np.asarray(sum(self._item(f"fuse {fuse}", p) for p in self.runs.phases) > 0, bool)

    def awake(self, module: str, phase: int) -> Array:
        """1 where the module is awake, per lane."""
        return self._item(f"awake {module}", phase)

    def signal(self, module: str, name: str, phase: int) -> Array:
        """1 where the module's signal is true, per lane."""
        return (
            self.awake(module, phase)
            if key(name) == "awake"
            else self._item(f"signal {module}.{name}", phase)
        )

    def switches(self, relay: str, phase: int) -> Array:
        """1 where the relay's armature differs from the phase before, per lane."""
        count = len(self.session.network.phases)
        before = (phase - 1) % count
        if before not in self.runs.phases:
            return self.energised(relay, phase)
        now, then = self.energised(relay, phase), self.energised(relay, before)
        return np.abs(now - then)

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


def _bytes(got: Solved) -> int:
    """Memory of solved lanes: their overlays and phase ends (what only chatter fills is mostly untouched)."""
    s = got.runs.snapshot
    ends = sum(a.nbytes for a in (s.volts, s.amps, s.x, s.state, s.prev, s.until, s.copies))
    return int(ends + sum(a.nbytes for a in got.runs.lanes))


SOLVED: Kept[Solved] = Kept(384 * MEBIBYTE, _bytes)


def solved(circuit: Circuit, rows: Sequence[Faults], conditions: Conditions, keep: bool = True) -> Solved:
    """Every row of faults run for two drive cycles under standing conditions; kept for the next question."""
    if not keep:
        return _solved(circuit, rows, conditions)
    many = Rows(rows)
    asked = (circuit, many, conditions)
    return SOLVED.get(asked) or SOLVED.put(asked, _solved(circuit, many, conditions))


def known(circuit: Circuit, rows: Rows, conditions: Conditions) -> Solved | None:
    """These rows if they have been run and are kept."""
    return SOLVED.get((circuit, rows, conditions))


class Rows(tuple[Faults, ...]):
    """Rows of faults whose hash is worked out once: thousands of them are the key of what was solved."""

    _hash: int

    def __new__(cls, rows: Iterable[Faults]) -> Rows:
        return rows if isinstance(rows, Rows) else super().__new__(cls, rows)

    def __hash__(self) -> int:
        if not hasattr(self, "_hash"):
            self._hash = tuple.__hash__(self)
        return self._hash


def _solved(circuit: Circuit, rows: Sequence[Faults], conditions: Conditions) -> Solved:
    s = session(fitted(circuit, conditions.feed))
    extra = s.condition_changes(conditions)
    if conditions != Conditions():
        rows = [acting(circuit, r, conditions) for r in rows]
    return Solved(s, s.run([s.lane(r) + extra for r in rows], "asleep", 2))
