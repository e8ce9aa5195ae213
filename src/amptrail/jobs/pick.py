"""Readings only where they are asked: each tap in its own phases, not every tap in every phase."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from amptrail.solve.network import Network
from amptrail.solve.readings import Readings, Tap, read
from amptrail.solve.runs import Runs


def one_phase(runs: Runs, slot: int) -> Runs:
    """The same lanes with the end of one phase only."""
    s = runs.snapshot
    here = s._replace(
        **{k: np.ascontiguousarray(getattr(s, k)[:, slot : slot + 1]) for k in s._fields if k != "counts"}
    )
    return replace(runs, phases=(runs.phases[slot],), snapshot=here)


def read_at(network: Network, runs: Runs, taps: Sequence[Tap], asked: Sequence[tuple[int, int]]) -> Readings:
    """`read` for the pairs (phase slot, tap) asked; zeros elsewhere. The ohmmeter knows no phase."""
    lanes, phases = runs.status.shape
    shape = (lanes, phases, len(taps))
    out = Readings(
        runs,
        tuple(taps),
        np.zeros(shape),
        np.zeros(shape),
        np.zeros(shape),
        np.zeros(shape, np.int8),
        np.zeros(shape, np.bool_),
        np.zeros((*shape, runs.snapshot.state.shape[2]), np.uint8),
    )
    ohms = sorted({t for _, t in asked if taps[t].instrument == "ohmmeter"})
    if ohms:
        _keep(out, slice(None), ohms, read(network, runs, [taps[t] for t in ohms]))
    for slot in sorted({s for s, _ in asked}):
        which = sorted({t for s, t in asked if s == slot and taps[t].instrument != "ohmmeter"})
        if which:
            here = read(network, one_phase(runs, slot), [taps[t] for t in which])
            _keep(out, slice(slot, slot + 1), which, here)
    return out


def _keep(out: Readings, slots: slice, which: list[int], got: Readings) -> None:
    for name in ("value", "low", "high", "status", "over", "changed"):
        getattr(out, name)[:, slots, which] = getattr(got, name)
