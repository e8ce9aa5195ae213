"""What must stop with the engine or the key still stops: fuel, ignition, starter, glow, heater, power take-
off.

Danger: a fuel pump that runs on after a crash or a stall, a starter that stays in. Looked at where the
vehicle is shut off, stalls, or is cranked in vain; the healthy vehicle stops the load there and the fed
one does not.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.loads import LOAD_KINDS, longer_part
from amptrail.feed.marks import ALWAYS, Mark, most
from amptrail.feed.measures import load_volts

NAME, SEVERITY = "stop_function", ALWAYS
BAD = (
    Example("pump.sheet", "from F4.out to PUMP.in fuse 10 A wire 2.5 mm2 2 m cut W9, W10", "W9 open"),
    Example("pump.sheet", "PJ26", "W9 open"),
)
GOOD = (Example("pump.sheet", "from K4.87 to PUMP.in wire 1.5 mm2 4 m cut W9, W10", "W9 open"),)
DEAD_V, RUNS_V = 1.0, 3.0
STOPPED = ("after-run", "asleep")


def marks(case: Case) -> Iterator[Mark]:
    parts = [p for p in case.fitted.sheet.parts if p.kind in LOAD_KINDS and not longer_part(p)]
    for story in case.stories():
        for x, h in zip(story.instants, case.beside(story.start).instants, strict=True):
            base = case.network.phases[x.phase].base
            if base not in STOPPED and not (story.start in case.named and base == "ignition-on"):
                continue
            for p in parts:
                volts, usual = load_volts(x, p), load_volts(h, p)
                if usual <= DEAD_V:
                    yield most(NAME, story.start, x.phase_name, p.name, volts, RUNS_V, "V")
