"""A drive cycle in time: instants with states, volts, amps, and how it ended. Frozen data only."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from amptrail.circuit.model import Term
from amptrail.circuit.phases import names_phase, sleeping
from amptrail.solve import Network, State
from amptrail.solve.runs import state_of
from amptrail.solve.stepping import Snapshot

Order = Literal["settle", "time"]
Reason = Literal["settled", "chatter", "horizon"]
Status = Literal["settled", "race", "chatter", "not_converged"]
Floats = npt.NDArray[np.float64]
Bits = npt.NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Switched:
    """A state item (`relay K4`, `awake ECM`, `fuse F9` …) that went on or off."""

    item: str
    on: bool

    def __str__(self) -> str:
        if self.item.startswith("fuse "):
            return f"{self.item} open"
        return f"{self.item} {'on' if self.on else 'off'}"


@dataclass(frozen=True, eq=False)
class Instant:
    """One moment, everything at rest or between two events. `ends`: the last moment of its leg.

    `before`: lived before the changes were made (start awake), by the vehicle as it was. Where status is
    chatter or not_converged the volts and amps mean nothing; `low`/`high` [node, then branch] then hold the
    range over one tour of the loop (chatter only), `chattering` what keeps changing.
    """

    pass_no: int
    phase: str
    at: int  # index into network.phases
    t_s: float
    status: Status
    network: Network = field(repr=False)
    bits: Bits = field(repr=False)  # [state item]
    volts: Floats = field(repr=False)  # [node] V above BAT.-
    amps: Floats = field(repr=False)  # [branch] A
    changes: tuple[Switched, ...] = ()
    ends: bool = False
    before: bool = False
    low: Floats | None = field(default=None, repr=False)
    high: Floats | None = field(default=None, repr=False)
    chattering: tuple[str, ...] = ()
    leg: int = 0  # which leg of the story
    every_s: float | None = None  # a loop comes round every so many s (order time)

    @property
    def state(self) -> State:
        """Names of what is on."""
        return state_of(self.network, self.bits)

    def is_on(self, item: str) -> bool:
        """Whether a state item is on, by its name in network.items."""
        return bool(self.bits[self.network.items.index(item)])

    def volt(self, term: Term | int) -> float:
        """V of a point above BAT.-."""
        return float(self.volts[self.network.node(term)])

    def amp(self, branch: Term | str | int) -> float:
        """A through a branch."""
        return float(self.amps[self.network.branch(branch)])


@dataclass(frozen=True, slots=True)
class Cause:
    """Why something is on: `because` in words, what that rests on, and whether the chain closes on itself."""

    item: str
    because: str
    by: tuple[Cause, ...] = ()
    loop: bool = False

    def lines(self, depth: int = 0) -> tuple[str, ...]:
        """The chain as indented lines, a loop said outright."""
        mark = " (a loop: it holds itself)" if self.loop else ""
        own = f"{'  ' * depth}{self.item}: {self.because}{mark}"
        return (own, *(line for c in self.by for line in c.lines(depth + 1)))

    def loops(self, above: tuple[str, ...] = ()) -> tuple[tuple[str, ...], ...]:
        """Every closed chain in it, as the items from the one that recurs on."""
        if self.loop:
            return (above[above.index(self.item) :],) if self.item in above else ()
        return tuple(x for c in self.by for x in c.loops((*above, self.item)))


@dataclass(frozen=True, slots=True)
class Race:
    """A phase whose end depends on what switches first: the two orders do not agree on `items`."""

    pass_no: int
    phase: str
    items: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Timeline:
    """A story lived through. `sleep_a`: what the batteries deliver at the end, A (None: no steady value).

    `chatter`: all that chattered in any phase; `loops`: chains that close on themselves at the end, and what
    chattered where. `why`: a cause for every module, relay and load still on.
    """

    network: Network
    order: Order
    start: str
    instants: tuple[Instant, ...]
    reason: Reason
    awake: tuple[str, ...]
    why: tuple[Cause, ...]
    sleep_a: float | None
    self_holding: tuple[str, ...]
    chatter: tuple[str, ...]
    loops: tuple[str, ...]
    fuses_open: tuple[str, ...]
    races: tuple[str, ...]
    last: Snapshot = field(repr=False)  # to go on from

    @property
    def draw_limit_a(self) -> float | None:
        """What the sheet lets it draw asleep, A; None when it does not say."""
        c = self.network.circuit
        mine = [d.max_a for d in c.draws if names_phase(c, sleeping(c), (d.phase,))]
        return min(mine, default=None)

    @property
    def asleep(self) -> bool:
        """Whether it sleeps at the end: no module awake, and no more drawn than the sheet allows."""
        limit = self.draw_limit_a
        quiet = self.sleep_a is not None and (limit is None or self.sleep_a <= limit)
        return not self.awake and quiet

    def ends(self, pass_no: int | None = None) -> tuple[Instant, ...]:
        """The last moment of every leg (of one pass; None: the last pass)."""
        n = max(i.pass_no for i in self.instants) if pass_no is None else pass_no
        return tuple(i for i in self.instants if i.ends and i.pass_no == n and not i.before)


def races_between(settle: Timeline, time: Timeline) -> tuple[Race, ...]:
    """Where the two orders of one story end a phase differently: no verdict may rest on it (NUMERICS.md)."""
    out = []
    pairs = zip((i for i in settle.instants if i.ends), (i for i in time.instants if i.ends), strict=True)
    for a, b in pairs:
        buzz = (a.status == "chatter") != (b.status == "chatter")
        items = set(a.chattering) ^ set(b.chattering) if buzz else set()
        if not buzz and a.status != "chatter":
            last = int(a.network.static.at[7])
            names = zip(a.network.items[:last], a.bits, b.bits, strict=False)
            items = {n for n, x, y in names if x != y and not n.startswith("alive ")}
        if items:
            out.append(Race(a.pass_no, a.phase, tuple(sorted(items))))
    return tuple(out)
