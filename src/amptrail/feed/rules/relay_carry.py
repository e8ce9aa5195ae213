"""A relay contact carries what it can carry for long.

Danger: the contact overheats, its socket melts, the load drops out on the road. Source: FACTS section 3,
12 V mini relay of the 35 A class: 35 A at 85 C, 0.7 of it on the resting contact.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import key
from amptrail.feed.case import Case
from amptrail.feed.example import Example
from amptrail.feed.extra import contact_a
from amptrail.feed.marks import ALWAYS, Mark, most

NAME, SEVERITY = "relay_carry", ALWAYS
BAD = (
    Example("glow.sheet", "GJ1", "KG stuck off"),
    Example("glow.sheet", "GJ2", "W9 open"),
)
GOOD = (Example("fan.sheet", "AJ9", "KF stuck off"),)
CARRIES_A, RESTING = 35.0, 0.7
MORE = 1.2  # a relay of the sheet is taken to bear what it bears now, at 15 V too (15 V over 12.6 V)


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding:
        return
    own = {key(p.name) for p in case.fitted.feed.parts}
    usual: dict[str, float] = {}
    for h in case.beside("asleep").instants:
        for contact, amps in contact_a(h).items():
            usual[contact] = max(amps, usual.get(contact, 0.0))
    for story in case.stories():
        for x in story.instants:
            for contact, amps in contact_a(x).items():
                if key(contact.rpartition(".")[0]) not in own and amps <= MORE * usual[contact]:
                    continue
                limit = CARRIES_A * (RESTING if contact.endswith("87a") else 1.0)
                yield most(NAME, story.start, x.phase_name, contact, amps, limit, "A")
