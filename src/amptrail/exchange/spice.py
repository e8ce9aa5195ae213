"""Runs ngspice in batch on a netlist and reads the node volts back."""

from __future__ import annotations

import re
import shutil
import subprocess

from amptrail.errors import ModelError, Problem
from amptrail.exchange import netlist
from amptrail.twin import Moment

SHOWN = re.compile(r"^v\(n(\d+)\) = (\S+)$", re.MULTILINE)
TIMEOUT_S = 60.0


def available() -> bool:
    """True when the ngspice command can be run here."""
    return shutil.which("ngspice") is not None


def volts(text: str) -> dict[int, float]:
    """Node volts by the twin's node number; ModelError when ngspice finds no operating point."""
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


def operating_point(moment: Moment) -> dict[int, float]:
    """Node volts of a phase's last instant, by the tightest tolerance ngspice ends on."""
    tries = [(o, guess) for o in netlist.OPTIONS for guess in (True, False)]
    for options, guess in tries[:-1]:
        try:
            return volts(netlist.spice(moment, guess=guess, options=options))
        except ModelError:
            continue
    return volts(netlist.spice(moment, guess=tries[-1][1], options=tries[-1][0]))
