"""A relay contact closes on what it can close on: standing motors and cold lamps included.

Danger: the contact welds and the load never stops. Source: FACTS section 3, 12 V mini relay of the 35 A
class: makes 120 A, 45 A on the resting contact, 65 A into a standing motor.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import key
from amptrail.feed.case import Case
from amptrail.feed.evidence import Story
from amptrail.feed.example import Example
from amptrail.feed.extra import contact_a
from amptrail.feed.marks import ALWAYS, Mark, most
from amptrail.feed.measures import motors_fed

NAME, SEVERITY = "relay_make", ALWAYS
BAD = (
    Example("rear.sheet", "RJ9", "KL stuck off"),
    Example("rear.sheet", "RJ10", "W8 open"),
)
GOOD = (Example("fan.sheet", "AJ9", "KF stuck off"),)
MAKES_A, RESTS_MAKES_A, MOTOR_A = 120.0, 45.0, 65.0
MORE = 1.2  # a relay of the sheet is taken to bear what it bears now, at 15 V too (15 V over 12.6 V)


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding or case.extra is None:
        return
    fed, healthy = case.extra.inrush
    own = {key(p.name) for p in case.fitted.feed.parts}
    usual = _most(healthy)
    for x in fed.instants:
        for contact, amps in contact_a(x).items():
            relay = contact.rpartition(".")[0]
            if key(relay) not in own and amps <= MORE * usual[contact]:
                continue
            limit = RESTS_MAKES_A if contact.endswith("87a") else MOTOR_A if motors_fed(x, amps) else MAKES_A
            yield most(NAME, "asleep", x.phase_name, contact, amps, limit, "A")


def _most(story: Story) -> dict[str, float]:
    """The largest current of each contact in any phase, A."""
    found: dict[str, float] = {}
    for x in story.instants:
        for contact, amps in contact_a(x).items():
            found[contact] = max(amps, found.get(contact, 0.0))
    return found
