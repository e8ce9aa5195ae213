"""How hard the solver had to work, over every drive cycle this process lived through."""

from __future__ import annotations

from threading import Lock

import numpy as np
import numpy.typing as npt

NAMES = ("sweeps", "cold", "searched", "not_converged", "solves", "unbalanced")
_LOCK = Lock()
_TOTAL = np.zeros(1 + len(NAMES), np.int64)  # lanes first


def add(counts: npt.NDArray[np.int64]) -> None:
    """Counts [lane, of NAMES] of lanes just lived through."""
    with _LOCK:
        _TOTAL[0] += len(counts)
        _TOTAL[1:] += counts.sum(axis=0)


def summed(counts: npt.NDArray[np.int64]) -> dict[str, int]:
    """Counts [lane, of NAMES] by name."""
    return dict(zip(NAMES, (int(x) for x in counts.sum(axis=0)), strict=True))


def told() -> str:
    """One line for a person."""
    lanes, sweeps, cold, searched, without, solves, unbalanced = (int(x) for x in _TOTAL)
    return (
        f"solver: {lanes:,} drive cycles, {solves:,} operating points, {sweeps:,} sweeps, "
        f"{cold:,} cold restarts, {searched:,} line searches, {without:,} without an answer "
        f"({unbalanced:,} of them by their currents)"
    )
