"""Lanes run under some standing conditions: what is where at the end of each phase, and in which state."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from amptrail.circuit.model import Term, key
from amptrail.jobs.solved.session import Session
from amptrail.solve.runs import Runs
from amptrail.solve.settle import CHATTER

Array = NDArray[np.float64]
RESTLESS = 23  # no discrete state has this number
FED_V = 1.0  # below this a load is not fed, and its conductance says nothing (common practice)


class Lanes:
    """Lanes of one run, asked by name."""

    def __init__(self, session_: Session, runs: Runs) -> None:
        self.session, self.runs = session_, runs
        self._healthy: Lanes | None = None  # the circuit with nothing broken, as a measure

    def _slot(self, phase: int) -> int:
        return self.runs.phases.index(max(phase, 0))

    def state_hash(self, phases: Sequence[int]) -> NDArray[np.int64]:
        """One number a lane for its discrete state in these phases; what never comes to rest is a state of
        its own, whatever it is in at the last instant."""
        out = np.zeros(self.runs.status.shape[0], np.int64)
        for p in phases:
            slot = self._slot(p)
            restless = self.runs.status[:, slot] == CHATTER
            bits = np.where(restless[:, None], RESTLESS, self.runs.snapshot.state[:, slot, :])
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
            self._healthy = Lanes(self.session, self.session.run([()], "asleep", 2))
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
