"""A scope on a circuit that ngspice, an independent simulator (a Debian package), lived through.

A winding with inductance, a contact as a switch with hysteresis behind a short way, a battery with inner
a starter.

Coil, drop-out and way: FACTS section 3 (85 ohm mini relay, pull-in 8.0 V, lets go at 3.5 V on average, L/R 5
to 8 ms, 1 to 1.5 ms from the magnet to the contact); battery: FACTS section 5 (13 mohm).
"""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np

SUPPLY_V, INNER_OHM = 12.6, 0.013
COIL_OHM, LAG_S = 85.0, 6.5e-3
PULL_IN_V, LETS_GO_V = 8.0, 3.5
WAY_S = 1.25e-3
RESISTOR_OHM = 680.0
ON_S, CRANK_S, CRANKED_S, AWAY_S, BACK_S, OFF_S, END_S = 0.8, 1.5, 2.3, 2.8, 2.812, 3.2, 3.8
SUPPRESSION = {
    "resistor": f"Rsup k86 k85 {RESISTOR_OHM:g}",
    "diode": "Dsup k85 k86 DS\n.model DS D(IS=1e-9 N=1.6 RS=0.05)",
    # bare: what the winding's own capacity and losses leave of the spike (1 000 to 1 500 V: FACTS section 3)
    "bare": "Csup k86 k85 100p\nRsup k86 k85 10k",
}


def deck(suppression: str, rate_hz: float) -> str:
    """Key and driver at 30 and 85, contact 87 with its load, starter beside the battery, one loose 12 ms."""
    pull, go = PULL_IN_V / COIL_OHM, LETS_GO_V / COIL_OHM
    ramp = 1e-6
    return f"""* relay, starter and battery
Vbat emf 0 {SUPPLY_V}
Rin emf bat {INNER_OHM}
Sst bat st sto 0 SWS
Rst st 0 0.045
Vst sto 0 PWL(0 0 {CRANK_S} 0 {CRANK_S + ramp} 1 {CRANKED_S} 1 {CRANKED_S + ramp} 0)
.model SWS SW(VT=0.5 VH=0.1 RON=0.002 ROFF=1e7)
Vs86 bat k86 0
Lcoil k86 m {COIL_OHM * LAG_S}
Rcoil m n {COIL_OHM}
Vsense n k85 0
{SUPPRESSION[suppression]}
Sdrv k85 0 drv 0 SWD
Vdrv drv 0 PWL(0 0 {ON_S} 0 {ON_S + ramp} 1 {OFF_S} 1 {OFF_S + ramp} 0)
.model SWD SW(VT=0.5 VH=0.1 RON=0.1 ROFF=1e8)
* the magnet: pulls and lets go by the current of the winding; the armature is on its way {WAY_S} s
Vone one 0 1
Wmag one mag Vsense WMAG
Rmag mag 0 10
.model WMAG CSW(IT={(pull + go) / 2} IH={(pull - go) / 2} RON=0.01 ROFF=1e9)
Rway mag arm 1k
Cway arm 0 {WAY_S / 1e3 / np.log(2)}
Scon load87 k87 arm 0 SWC
.model SWC SW(VT=0.5 VH=0.01 RON=0.005 ROFF=1e8)
Swire bat load87 wire 0 SWC2
.model SWC2 SW(VT=0.5 VH=0.1 RON=0.01 ROFF=1e8)
Vwire wire 0 PWL(0 1 {AWAY_S} 1 {AWAY_S + ramp} 0 {BACK_S} 0 {BACK_S + ramp} 1)
Rload k87 0 2.4
.options reltol=1e-4
.tran {1 / rate_hz} {END_S} 0 {min(1 / rate_hz, 5e-5)}
.control
set wr_singlescale
set wr_vecnames
set numdgt=9
run
meas tran pulled when v(k87)=6 rise=1
meas tran away when v(k87)=6 fall=1
meas tran back when v(k87)=6 rise=2
meas tran opened when v(k87)=6 fall=2
meas tran cranking when v(bat)=11.2 fall=1
meas tran cranked when v(bat)=11.2 rise=1
meas tran released when v(k85)=6 rise=1 td={OFF_S - 0.1}
meas tran peak max v(k85) from={OFF_S - 0.1} to={END_S}
linearize v(bat) v(k85) v(k87)
wrdata scope.txt v(bat) v(k85) v(k87)
quit 0
.endc
.end
"""


@dataclass(frozen=True, slots=True)
class Lived:
    """What ngspice says happened: instants in s (and `peak` in V), and its table."""

    at: dict[str, float]
    table: Path


def live(folder: Path, suppression: str, rate_hz: float = 20_000.0, noise: float = 0.0) -> Lived:
    """Run the deck, read its `meas` lines, write what a scope would have exported (with noise, V)."""
    (folder / "relay.cir").write_text(deck(suppression, rate_hz))
    done = subprocess.run(
        ["ngspice", "-b", "relay.cir"], cwd=folder, capture_output=True, text=True, timeout=300, check=False
    )
    at: dict[str, float] = {}
    for line in done.stdout.splitlines():
        words = line.split()
        if len(words) >= 3 and words[1] == "=":
            at[words[0]] = float(words[2])
    if "opened" not in at:
        raise AssertionError(done.stdout[-2000:] + done.stderr[-2000:])
    rows = np.loadtxt(folder / "scope.txt", skiprows=1)
    rows[:, 1:] += noise * np.random.default_rng(1).standard_normal(rows[:, 1:].shape)
    path = folder / "scope.csv"
    head = "Time (s),BAT.+ (V),K4.85 (V),K4.87 (V)"
    np.savetxt(path, rows, fmt="%.9g", delimiter=",", header=head, comments="")
    return Lived(at, path)
