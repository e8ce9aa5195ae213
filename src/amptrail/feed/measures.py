"""What several flags and rules measure on an instant: states on, reverse currents, shares of fuses, sleep."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from amptrail.circuit.model import Part, Signal, Term, key
from amptrail.circuit.supply import returning
from amptrail.feed.evidence import Instant, Story
from amptrail.solve import laws
from amptrail.solve.network import Network

WORDS = {"relay": "relay", "driver": "drv", "signal": "sig"}  # state words of the oracle's verdicts
Floats = np.ndarray[Any, Any]


def rounded(value: float) -> float:
    """Six significant digits, as the oracle's files have."""
    return float(f"{value:.6g}")


@lru_cache(maxsize=64)
def _words(net: Network) -> tuple[str | None, ...]:
    """The state word of every item that has one, in the sheet's own spelling."""
    said = {
        key(f"{x.module}.{x.name}"): f"{x.module}.{x.name}"
        for x in net.circuit.modules
        if isinstance(x, Signal)
    }
    found: list[str | None] = []
    for item in net.items:
        kind, _, name = item.partition(" ")
        found.append(f"{WORDS[kind]}.{said.get(key(name), name)}" if kind in WORDS else None)
    return tuple(found)


def _active(net: Network, bits: Floats) -> frozenset[str]:
    return frozenset(word for word, on in zip(_words(net), bits, strict=False) if on and word)


def active(x: Instant) -> frozenset[str]:
    """Relays energised, drivers on, signals true: `relay.K`, `drv.M.x`, `sig.M.x`. What buzzes counts."""
    return _active(x.story.network, x.bits) | buzzing(x)


def buzzing(x: Instant) -> frozenset[str]:
    """State words of what never comes to rest."""
    return _active(x.story.network, x.toured)


def drivers(net: Network) -> tuple[tuple[str, int, int | None], ...]:
    """(MODULE.driver, its branch, the branch of its body diode or None)."""
    found = []
    for n, name in enumerate(net.drivers):
        found.append((name, int(net.static.drv_branch[n]), net.branch_of.get(key(f"{name}.diode"))))
    return tuple(found)


def reverse_a(x: Instant) -> dict[str, float]:
    """Current pushed backwards through each module output, A: through its body diode and, when it is on,
    through the output itself. Low side: from ground out of the pin; high side: from the pin into its feed."""
    amps = x.amps
    found = {}
    for name, branch, diode in drivers(x.story.network):
        found[name] = float((amps[diode] if diode is not None else 0.0) - amps[branch])
    return found


def driver_a(x: Instant) -> dict[str, tuple[float, float]]:
    """(current, limit) of each output that is on and has a limit, A."""
    net = x.story.network
    on = set(x.state.drivers_on)
    limits = net.base.limit
    return {
        name: (abs(float(x.amps[branch])), float(limits[n]))
        for n, (name, branch, _) in enumerate(drivers(net))
        if name in on and np.isfinite(limits[n])
    }


def fuse_a(x: Instant) -> dict[str, float]:
    """Current of each fuse, A, whatever its direction."""
    net = x.story.network
    return {name: abs(float(x.amps[net.static.fuse_branch[n]])) for n, name in enumerate(net.fuses)}


def ratings(net: Network) -> dict[str, float]:
    """Rating of each fuse, A."""
    return {name: float(net.base.rating[n]) for n, name in enumerate(net.fuses)}


def battery_a(x: Instant) -> float:
    """Current the batteries deliver, those in series counted once, A."""
    net = x.story.network
    return sum(float(x.amps[net.branch(n)]) for n in returning(net.circuit))


def each_battery_a(x: Instant) -> dict[str, float]:
    """What each battery delivers by itself, A."""
    net = x.story.network
    names = [p.name for p in net.circuit.parts if p.kind == "battery"]
    return {n: float(x.amps[net.branch(n)]) for n in names}


def by_phase(stories: Iterable[Story], measure: Any) -> dict[int, dict[str, float]]:
    """The largest of a measure in each phase over some stories."""
    found: dict[int, dict[str, float]] = {}
    for story in stories:
        for x in story.instants:
            here = found.setdefault(x.phase, {})
            for name, value in measure(x).items():
                here[name] = max(value, here.get(name, -np.inf))
    return found


def at(table: Mapping[int, Mapping[str, float]], phase: int, name: str) -> float:
    """A healthy value, 0 where the healthy vehicle has none."""
    return table.get(phase, {}).get(name, 0.0)


def shut(x: Instant, branch: int) -> bool:
    """Whether a switch, contact, fuse or output is closed at an instant (anything else always is)."""
    net = x.story.network
    at, gate, unit = net.static.at, int(net.static.gate[branch]), int(net.static.unit[branch])
    if gate == laws.SWITCH:
        return bool(net.static.closed[x.phase, unit])
    if gate in (laws.MADE, laws.BROKEN):
        return bool(x.bits[int(at[0]) + unit]) == (gate == laws.MADE)
    if gate == laws.FUSE:
        return not x.bits[int(at[5]) + unit]
    return bool(x.bits[int(at[3]) + unit]) if gate == laws.DRIVER else True


def load_volts(x: Instant, part: Part) -> float:
    """Volts across a load, whatever their sign; 0 for one that is not joined. The highest where it buzzes."""
    net = x.story.network
    ends = ("M", "31") if part.kind == "starter" else ("in", "out")
    if any((key(part.name), key(t)) not in net.node_index for t in ends):
        return 0.0
    return max(abs(v) for v in x.across(Term(part.name, ends[0]), Term(part.name, ends[1])))


def motors_fed(x: Instant, amps: float) -> bool:
    """Whether motors take more than half of a current."""
    net = x.story.network
    names = [p.name for p in net.circuit.parts if p.kind == "motor"]
    return 2 * sum(abs(float(x.amps[net.branch(n)])) for n in names) > amps


def series_ohm(story: Story) -> Floats:
    """Resistance that faults put in series with each branch, ohm."""
    net = story.network
    return np.asarray(story.series if story.series is not None else np.zeros(len(net.branches)))
