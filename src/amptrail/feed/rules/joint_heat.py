"""A joint left in the circuit turns at most 3 W into heat.

Danger: a corroded pin that carries the load again cooks its plug. Source of the 3 W: DESIGN section 9 (common
practice). Short phases (cranking) are left out.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.graph import edges
from amptrail.feed.marks import Mark, Severities, most
from amptrail.feed.measures import series_ohm

NAME = "joint_heat"
SEVERITY: Severities = {"try": "note", "home": "refuse", "leave": "refuse"}
BAD = (
    Example(
        "pump.sheet", "from K4.87 to X7.4.a wire 1.5 mm2 2 m cut W9", "W9 open and X7.5 resistance 150 mohm"
    ),
    Example(
        "fan.sheet", "from KF.87 to XF.1.a wire 2.5 mm2 1 m cut W9", "W9 open and XF.1 resistance 20 mohm"
    ),
)
GOOD = (
    Example(
        "pump.sheet", "from K4.87 to X7.4.a wire 1.5 mm2 2 m cut W9", "W9 open and X7.5 resistance 50 mohm"
    ),
    Example("glow.sheet", "from KG.87 to GLOW.in wire 16 mm2 1 m cut W9", "W9 open"),
)
MOST_W = 3.0
JOINTS = ("joint", "connector", "box", "splice", "ground", "switch")


def marks(case: Case) -> Iterator[Mark]:
    net = case.network
    joints = np.array([e.kind in JOINTS for e in edges(net)])
    own = np.where(joints, net.base.p[: len(joints), 0], 0.0)
    for story in case.stories():
        ohm = own + series_ohm(story)[: len(joints)]
        for x in story.instants:
            if net.phases[x.phase].base == "cranking":
                continue
            heat = x.amps[: len(joints)] ** 2 * ohm
            worst = int(np.argmax(heat))
            for n in {worst, *np.flatnonzero(heat > MOST_W)}:
                yield most(NAME, story.start, x.phase_name, net.branches[n], float(heat[n]), MOST_W, "W")
