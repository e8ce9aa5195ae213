"""Runs ngspice in batch on a netlist and reads the node volts back."""

from __future__ import annotations

import re
import shutil
import subprocess

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
