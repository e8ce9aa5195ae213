"""Readings only where they are asked: each tap in its own phases, not every tap in every phase."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from amptrail.solve.network import Network
from amptrail.solve.readings import Readings, Tap, read
from amptrail.solve.runs import Runs


def read_at(network: Network, runs: Runs, taps: Sequence[Tap], asked: Sequence[tuple[int, int]]) -> Readings:
    """`read` for the pairs (phase slot, tap) asked; volts elsewhere: zeros. The ohmmeter knows no phase."""
    wanted = np.zeros((runs.status.shape[1], len(taps)), np.bool_)
    for slot, t in asked:
        wanted[slot, t] = True
    return read(network, runs, taps, wanted)
