"""Runs ngspice in batch on a netlist and reads node volts, or what it lived through, back."""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from amptrail.errors import ModelError, Problem

SHOWN = re.compile(r"^v\(n(\d+)\) = (\S+)$", re.MULTILINE)
TIMEOUT_S = 60.0


def available() -> bool:
    """True when the ngspice command can be run here."""
    return shutil.which("ngspice") is not None


def volts(text: str) -> dict[int, float]:
    """Node volts by node number; ModelError when ngspice finds no operating point."""
    if not available():
        raise ModelError((Problem("no-ngspice", "ngspice is not installed", remedy="install ngspice"),))
    done = subprocess.run(
        ["ngspice", "-b"], input=text, capture_output=True, text=True, timeout=TIMEOUT_S, check=False
    )
    got = {int(n): float(v) for n, v in SHOWN.findall(done.stdout)}
    if not got:
        said = (done.stderr or done.stdout).strip().splitlines()[-3:]
        raise ModelError((Problem("ngspice", "ngspice finds no operating point: " + " | ".join(said)),))
    return got


def lived(text: str, timeout_s: float = TIMEOUT_S) -> NDArray[np.float64]:
    """The table (instants, channels) a deck of `transient` writes; ModelError when ngspice stops early."""
    if not available():
        raise ModelError((Problem("no-ngspice", "ngspice is not installed", remedy="install ngspice"),))
    with tempfile.TemporaryDirectory(prefix="transient-") as folder:
        done = subprocess.run(
            ["ngspice", "-b"], input=text, cwd=folder, capture_output=True, text=True, timeout=timeout_s,
            check=False,
        )  # fmt: skip
        table = Path(folder) / "scope.txt"
        if not table.is_file() or "aborted" in done.stdout + done.stderr:
            said = (done.stderr or done.stdout).strip().splitlines()[-4:]
            raise ModelError((Problem("ngspice", "ngspice did not get to the end: " + " | ".join(said)),))
        return np.loadtxt(table, skiprows=1, ndmin=2)
