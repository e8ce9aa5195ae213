"""Is a function on or off when it must be: one `must` line at one instant."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit.model import Must, key
from amptrail.circuit.phases import names_phase
from amptrail.feed.evidence import Instant, Story
from amptrail.solve.network import Network


@dataclass(frozen=True, slots=True)
class Finding:
    """What one `must` line asks for at one instant, and whether it is so. `value`: V, or 1/0 of a signal;
    the worst end where the state buzzes."""

    start: str
    instant: Instant
    must: Must
    wanted: str  # on, off
    ok: bool
    value: float
    limit: float

    @property
    def after_run(self) -> bool:
        """Whether the instant ends an after-run phase."""
        return self.instant.story.network.phases[self.instant.phase].base == "after-run"


def _item(x: Instant, word: str) -> tuple[bool, bool]:
    """(is on, is steady) of a state item by name."""
    n = _items(x.story.network).get(key(word))
    if n is None:
        return False, x.steady
    return bool(x.bits[n]), x.steady and not bool(x.toured[n])


@lru_cache(maxsize=64)
def _items(net: Network) -> dict[str, int]:
    return {key(item): n for n, item in enumerate(net.items)}


def signal_on(x: Instant, must: Must) -> tuple[bool, bool]:
    """(is true, is steady) of the signal of a `must` line. A module without an `awake` line is awake while
    it lives; a dead module says nothing."""
    module, name = must.module or "", must.signal or ""
    alive, quiet = _item(x, f"alive {module}")
    on, steady = _item(x, f"awake {module}" if key(name) == "awake" else f"signal {module}.{name}")
    return on and alive, steady and quiet


def volts_at(x: Instant, must: Must) -> float:
    """Volts of a `must` line at an instant, whatever their sign; the lowest where it buzzes."""
    if must.a is None or must.b is None:
        raise AssertionError("a must line of two points")
    return min(abs(v) for v in x.across(must.a, must.b))


def _one(x: Instant, must: Must, wanted: str) -> Finding:
    start = x.story.start
    if must.module:
        on, steady = signal_on(x, must)
        ok = steady and on == (wanted == "on")
        return Finding(start, x, must, wanted, ok, float(on), 1.0 if wanted == "on" else 0.0)
    if must.a is None or must.b is None:
        raise AssertionError("a must line names a signal or two points")
    low, high = x.across(must.a, must.b)
    if x.status == "not_converged":
        return Finding(start, x, must, wanted, False, 0.0, 0.0)
    if wanted == "on":
        least = must.min_v if must.min_v is not None else 0.0
        return Finding(start, x, must, wanted, low >= least, low, least)
    # a load fed backwards is not off either: the size of the volts counts
    most = must.max_off_v if must.max_off_v is not None else must.min_v if must.min_v is not None else 0.0
    worst = low if abs(low) > abs(high) else high
    return Finding(start, x, must, wanted, abs(worst) <= most, worst, most)


def asked(x: Instant) -> Iterator[Finding]:
    """Every function that an instant's phase wants on or off, in the order of the sheet."""
    for must, wanted in _wanted(x.story.network, x.phase):
        yield _one(x, must, wanted)


@lru_cache(maxsize=512)
def _wanted(net: Network, phase: int) -> tuple[tuple[Must, str], ...]:
    """Functions that a phase wants on or off."""
    return tuple(
        (must, wanted)
        for must in net.circuit.musts
        for wanted, phases in (("on", must.on), ("off", must.off))
        if names_phase(net.circuit, net.phases[phase], phases)
    )


def findings(story: Story) -> tuple[Finding, ...]:
    """Every asked-for function at every instant of a story."""
    return tuple(f for x in story.instants for f in asked(x))
