"""Sheets for the tests of the drive cycle, written by hand; all vehicles are invented."""

from __future__ import annotations

from amptrail.sheet import parse
from amptrail.solve import Network, assemble


def network(text: str) -> Network:
    return assemble(parse(text))


FRAME = """vehicle "bench"
phase ignition-on 5 s
phase running 5 s
phase asleep 60 s
battery BAT 12.6 V 10 mohm
fuse F1 20 A
path BAT.- -- body
path BAT.+ -- F1
"""


def ring(n: int) -> str:
    """n relays, each feeding the coil of the next through its break contact: n reversals in a loop."""
    lines = [FRAME, *(f"relay K{k} coil 85 ohm pulls 7 V drops 3 V" for k in range(1, n + 1))]
    for k in range(1, n + 1):
        after = k % n + 1
        lines.append(f"path F1.out -- K{k}.30-87a -- K{after}.86-85 -- body")
    return "\n".join(lines) + "\n"


def seal_in(start: str, stop: str) -> str:
    """A seal-in relay: START beside its own make contact, STOP (closed at rest) before both.
    `start`: phases in which START is pressed, `stop`: phases in which STOP is not pressed."""
    return f"""{FRAME}
switch STOP {stop}
switch START {start}
relay K coil 85 ohm pulls 7 V drops 3 V
resistor LOAD 6 ohm
path F1.out -- STOP -- START -- K.86-85 -- body
path STOP.out -- K.30-87 -- START.out
path START.out -- LOAD -- body
"""


PAIR = f"""{FRAME}
switch IN closed in ignition-on
relay K1 coil 85 ohm pulls 7 V drops 3 V
relay K2 coil 85 ohm pulls 7 V drops 3 V
path F1.out -- IN -- K1.86-85 -- body
path F1.out -- K2.30-87 -- K1.86
path F1.out -- K1.30-87 -- K2.86-85 -- body
"""

# A29 of the public stories: a constantly fed coil, a low-side driver with a common flyback diode to the
# controller's own rail, the relay's contact on that same rail. Values invented.
PARASITE = """vehicle "loader, controller stays awake"
phase ignition-on 10 s
phase cranking 3 s
phase running 60 s
phase asleep 600 s
battery BAT 12.6 V 10 mohm cranking 60 mohm
fuse F1 20 A
fuse F2 10 A
switch KEY positions off, on, start
KEY.30-15 closed at on, start
relay KMAIN coil 85 ohm pulls 7 V drops 3 V
module ECU
diode DFB
path BAT.- -- body
path BAT.+ -- F1 -- KMAIN.30-87 -- ECU.rail
path F1.out -- KMAIN.86-85 -- ECU.mr
path ECU.mr -- DFB -- ECU.rail
path BAT.+ -- F2 -- KEY.30
path KEY.15 -- ECU.15
path ECU.31 -- body
ECU.31 ground
ECU lives above 5 V
ECU.rail supply 2 kohm awake 2 kohm asleep
ECU.rail input rail on at 5 V off at 4 V
ECU.15 input ign pull-down 10 kohm on at 5 V off at 3.5 V
ECU awake while ign or rail
ECU.mr low-side main on 150 mohm leak 1 Mohm limit 2 A while awake
"""
