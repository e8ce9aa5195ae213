"""The worst case: each rule's figure at the corner that hurts it most, healthy beside it.

First every number of the tolerance table is moved alone, from asleep, and the figures of every rule are
read again: the sign of the change says which end hurts. Figures that want the same ends share a corner;
each corner is lived through from every start. States that flip at a corner are seen there, because
everything is lived again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from types import ModuleType

from amptrail.feed.case import Case
from amptrail.feed.corners import COLD_V, HOT_V, pushed, ranges, supply
from amptrail.feed.evidence import Changes, Lives, Story, asleep_steps, live, lives
from amptrail.feed.fitting import Fitted
from amptrail.feed.flags import interlock_switches
from amptrail.feed.marks import Mark, Purpose
from amptrail.feed.rules import (
    after_run,
    back_feed,
    driver_overcurrent,
    fuse_80_percent,
    joint_heat,
    off_when_required,
    relay_carry,
    restores_from_asleep,
    sleep_current,
    source_load,
)

Where = tuple[str, str, str, str]
# rules with a figure that moves with the numbers of the sheet, looked at from asleep
FIGURES: tuple[ModuleType, ...] = (
    restores_from_asleep, off_when_required, after_run, sleep_current, back_feed, driver_overcurrent,
    fuse_80_percent, relay_carry, source_load, joint_heat,
)  # fmt: skip
MOST_CORNERS = 6
NEAR = 0.6  # figures further than this share from their limit are not turned by a tolerance
SMALL = 1e-4  # a figure that moves by less than this share of its limit does not care


@dataclass(frozen=True, eq=False)
class Corner:
    """One end of the worst case: its name, what it changes, the ends it takes (empty: a supply extreme)."""

    name: str
    changes: Changes
    ends: tuple[int, ...] = ()


def _asleep_only(f: Fitted, corners: Sequence[Changes]) -> list[Lives]:
    """Healthy, faulty and fed vehicle from asleep at each of several corners, in one go."""
    states = ("healthy", "faulty", "fed")
    steps = asleep_steps(f.network)
    out = live(f.network, [f.lane(s) + c for c in corners for s in states], steps)
    found = []
    for n in range(len(corners)):
        stories: dict[tuple[str, str, str | None], Story] = {
            (s, "asleep", None): Story("tolerance", s, "asleep", None, f.network, steps, out, 3 * n + k)
            for k, s in enumerate(states)
        }
        found.append(Lives(f, stories))
    return found


def _figures(told: Lives, purpose: Purpose) -> dict[Where, Mark]:
    """Figures of the rules that have one, by place: the worst of each."""
    case = Case(told, purpose)
    found: dict[Where, Mark] = {}
    for rule in FIGURES:
        for m in rule.marks(case):
            if m.side != "is" and (m.where not in found or m.margin < found[m.where].margin):
                found[m.where] = m
    return found


def _wanted_ends(f: Fitted, purpose: Purpose, only_said: bool) -> list[tuple[int, ...]]:
    """The ends that hurt each rule's closest figure, closest first, each combination once."""
    moved = ranges(f.network)
    count = len(moved)
    single = [tuple(int(k == n) for k in range(count)) for n in range(count)]
    told = _asleep_only(f, [(), *[pushed(f.network, e, only_said) for e in single]])
    nominal = _figures(told[0], purpose)
    closest: dict[tuple[str, str], Mark] = {}
    for m in nominal.values():
        spot = (m.rule, m.phase)
        if abs(m.margin) < NEAR and (spot not in closest or m.margin < closest[spot].margin):
            closest[spot] = m
    slopes = [_figures(x, purpose) for x in told[1:]]
    found: dict[tuple[int, ...], None] = {}
    for m in sorted(closest.values(), key=lambda x: x.margin):
        ends = []
        for n in range(count):
            now = slopes[n].get(m.where)
            change = 0.0 if now is None else now.margin - m.margin
            ends.append(0 if abs(change) < SMALL else (-1 if change > 0 else 1))
        if any(ends):
            found.setdefault(tuple(ends))
    return list(found)[:MOST_CORNERS]


def alone(f: Fitted) -> list[tuple[str, tuple[int, ...]]]:
    """Every default nobody confirmed, each at either end."""
    every = ranges(f.network)
    return [
        (r.name, tuple(end if k == n else 0 for k in range(len(every))))
        for n, r in enumerate(every)
        if not r.said
        for end in (-1, 1)
    ]


def turning(f: Fitted, purpose: Purpose, broken: Sequence[Mark]) -> list[tuple[str, tuple[int, ...]]]:
    """Defaults nobody confirmed that would mend what is broken: (what it is, the ends to take), each alone.

    Only figures and functions from asleep are looked at: a fuse too large is no matter of a default.
    """
    tries = alone(f)
    hurt = {(m.rule, m.part) for m in broken if m.rule == restores_from_asleep.NAME or m.start == "asleep"}
    if not tries or not hurt:
        return []
    told = _asleep_only(f, [pushed(f.network, ends, False) for _, ends in tries])
    return [t for t, x in zip(tries, told, strict=True) if not hurt & _hurt(x, purpose)]


def _hurt(told: Lives, purpose: Purpose) -> set[tuple[str, str]]:
    case = Case(told, purpose)
    return {(m.rule, m.part) for rule in FIGURES for m in rule.marks(case) if not m.ok}


HOLDS = {"emf_v": 1, "drop_v": -1, "coil_ohm": -1, "ohm": -1, "contact_ohm": -1}  # nothing lets go
WEAK = {
    "emf_v": -1,
    "pull_v": 1,
    "coil_ohm": 1,
    "ohm": 1,
    "contact_ohm": 1,
    "limit_a": -1,
}  # nothing pulls in


def _all(f: Fitted, want: dict[str, int]) -> tuple[int, ...]:
    return tuple(want.get(r.name.rpartition(" ")[2], 0) for r in ranges(f.network))


def corners(f: Fitted, purpose: Purpose, only_said: bool) -> list[Corner]:
    """The corners to live through: supply extremes, nothing lets go, nothing pulls in, and the figures'."""
    net = f.network
    found = [Corner("cold", supply(net, COLD_V, COLD_V)), Corner("hot", supply(net, HOT_V, HOT_V))]
    for n, ends in enumerate((_all(f, HOLDS), _all(f, WEAK), *_wanted_ends(f, purpose, only_said)), 1):
        if any(ends):
            found.append(Corner(f"tolerance {n}", pushed(net, ends, only_said), ends))
    return found


def cases(f: Fitted, purpose: Purpose, wanted: Iterable[Corner]) -> list[Case]:
    """Each corner lived through from every start."""
    switches = interlock_switches(f.circuit)
    return [replace(Case(lives(f, switches, c.name, c.changes), purpose), corner=c.name) for c in wanted]
