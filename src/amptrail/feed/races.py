"""Does the answer hang on what switches first? Each start lived in both orders, `settle` and `time`.

Where the fed vehicle ends a phase differently in the two, and the healthy one does not, no verdict may
rest on it (NUMERICS, Discrete state).
"""

from __future__ import annotations

from amptrail.cycle import Race, races_between, run_cycle
from amptrail.feed.fitting import Fitted
from amptrail.feed.marks import Mark

NAME = "race"


def _between(f: Fitted, state: str, start: str) -> tuple[Race, ...]:
    lane, before = f.lane(state), f.lane("healthy")
    orders = [run_cycle(f.network, lane, start, 1, order, was_changes=before) for order in ("settle", "time")]
    return races_between(orders[0], orders[1])


def races(f: Fitted, starts: tuple[str, ...]) -> tuple[Mark, ...]:
    """A mark for each phase and item that the order of switching decides, less the healthy vehicle's own."""
    found: list[Mark] = []
    for start in starts:
        mine = _between(f, "fed", start)
        if not mine:
            continue
        usual = {(r.phase, item) for r in _between(f, "healthy", start) for item in r.items}
        for r in mine:
            for item in r.items:
                if (r.phase, item) not in usual:
                    found.append(Mark(NAME, start, r.phase, item, 1.0, 0.0, "on", False, "is"))
    return tuple(dict.fromkeys(found))
