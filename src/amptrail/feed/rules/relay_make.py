"""A relay contact closes on what it can close on: standing motors and cold lamps included.

Danger: the contact welds and the load never stops. Source: FACTS section 3, 12 V mini relay of the 35 A
class: makes 120 A, 45 A on the resting contact, 65 A into a standing motor.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import key
from amptrail.feed.case import Case
from amptrail.feed.extra import contact_a
from amptrail.feed.marks import ALWAYS, Mark, most
from amptrail.feed.measures import motors_fed

NAME, SEVERITY = "relay_make", ALWAYS
MAKES_A, RESTS_MAKES_A, MOTOR_A = 120.0, 45.0, 65.0
MORE = 1.02  # a contact of the sheet counts only where the feed loads it more than before


def marks(case: Case) -> Iterator[Mark]:
    if not case.feeding or case.extra is None:
        return
    fed, healthy = case.extra.inrush
    own = {key(p.name) for p in case.fitted.feed.parts}
    for x, h in zip(fed.instants, healthy.instants, strict=True):
        usual = contact_a(h)
        for contact, amps in contact_a(x).items():
            relay = contact.rpartition(".")[0]
            if key(relay) not in own and amps <= MORE * usual[contact]:
                continue
            limit = RESTS_MAKES_A if contact.endswith("87a") else MOTOR_A if motors_fed(x, amps) else MAKES_A
            yield most(NAME, "asleep", x.phase_name, contact, amps, limit, "A")
