"""What the rules look at: the timelines of a proof at one corner, and a few measures on a step."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from amptrail.checker.data import Point, Step, StoryKey
from amptrail.checker.shape import LOADS, Shape
from amptrail.checker.vehicle import Job, metal
from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Driver, Must, Part, Phase, Signal, Term, key
from amptrail.circuit.phases import drive_cycle, names_phase, seconds, sleeping
from amptrail.circuit.wiring import wiring

Weight = Literal["refuse", "note"]


@dataclass(frozen=True, slots=True)
class Mark:
    """One figure of one rule. `side`: at most the limit, at least it, or equal to it (1 on, 0 off)."""

    rule: str
    start: str
    phase: str
    part: str
    figure: float
    limit: float
    side: Literal["most", "least", "is"] = "most"
    weight: Weight = "refuse"

    @property
    def ok(self) -> bool:
        if self.side == "is":
            return self.figure == self.limit
        return self.figure <= self.limit if self.side == "most" else self.figure >= self.limit

    @property
    def where(self) -> tuple[str, str, str, str]:
        return (self.rule, self.start, self.phase, key(self.part))

    @property
    def margin(self) -> float:
        if self.side == "is" or self.limit == 0:
            return 1.0 if self.ok else -1.0
        gap = self.limit - self.figure if self.side == "most" else self.figure - self.limit
        return gap / abs(self.limit)

    def noted(self, soft: bool = True) -> Mark:
        return replace(self, weight="note") if soft else self


@dataclass(frozen=True)
class Found:
    """What one `must` line asks for at the end of one step."""

    step: Step
    must: Must
    wanted: Literal["on", "off"]
    ok: bool
    value: float
    limit: float
    after_run: bool

    @property
    def weak(self) -> bool:
        """Some volts, only too few (3 V: common practice)."""
        return self.must.module is None and self.value > 3.0


@dataclass(frozen=True, eq=False)
class Told:
    """The stories of one corner. `vehicle` is the one judged."""

    job: Job
    shape: Shape
    stories: dict[StoryKey, tuple[Step, ...]]
    corner: str
    purpose: str
    vehicle: str = "fed"

    @property
    def nominal(self) -> bool:
        return self.corner == "nominal"

    @property
    def feeding(self) -> bool:
        return self.vehicle == "fed"

    def healthy(self) -> Told:
        return replace(self, vehicle="healthy")

    def get(
        self, vehicle: str, start: str, held: str | None = None, extra: str | None = None
    ) -> tuple[Step, ...]:
        return self.stories[StoryKey(self.corner, vehicle, start, held, extra)]

    def mine(self, start: str, held: str | None = None) -> tuple[Step, ...]:
        return self.get(self.vehicle, start, held)

    def beside(self, start: str, held: str | None = None) -> tuple[Step, ...]:
        return self.get("healthy", start, held)

    def has(self, vehicle: str, start: str, held: str | None) -> bool:
        return StoryKey(self.corner, vehicle, start, held) in self.stories

    @cached_property
    def starts(self) -> tuple[str, ...]:
        return tuple(
            k.start
            for k in self.stories
            if k.corner == self.corner and k.vehicle == "fed" and k.held is None and k.extra is None
        )

    @property
    def awake(self) -> tuple[str, ...]:
        return tuple(s for s in self.starts if s.startswith("awake:"))

    @property
    def named(self) -> tuple[str, ...]:
        return tuple(s for s in self.starts if s != "asleep" and not s.startswith("awake:"))

    @cached_property
    def phases(self) -> dict[str, Phase]:
        return {p.name: p for p in drive_cycle(self.job.sheet)}

    def base(self, s: Step) -> str:
        return self.phases[s.phase].base

    def lasting(self, s: Step) -> bool:
        """Whether a load may last over ten minutes there."""
        p = self.phases[s.phase]
        return p.base in ("running", "asleep") or seconds(p) >= 600.0

    def bed(self, steps: tuple[Step, ...]) -> Step:
        """The first sleep after use."""
        name = sleeping(self.job.sheet).name
        used = next(n for n, s in enumerate(steps) if s.phase != name)
        return next(s for s in steps[used:] if s.phase == name and not s.turning)

    def every(self) -> Iterator[tuple[str, Step, Step]]:
        """(start, step, the healthy step beside it) of the vehicle judged."""
        for start in self.starts:
            for s, h in zip(self.mine(start), self.beside(start), strict=True):
                yield start, s, h

    # ---- measures -----------------------------------------------------------------------------------
    def circuit_of(self, vehicle: str) -> Circuit:
        return self.job.fed if vehicle == "fed" else self.job.sheet

    def volts(self, vehicle: str, s: Step, t: Term) -> float:
        """V of a point; 0 for one that nothing is joined to."""
        name = metal(self.circuit_of(vehicle), t)
        return 0.0 if name is None else s.point.volts[name]

    def across(self, vehicle: str, s: Step, a: Term, b: Term) -> tuple[float, float]:
        """Lowest and highest V from a to b."""
        p = s.point
        if s.status == "chatter":
            c = self.circuit_of(vehicle)
            m, n = metal(c, a), metal(c, b)
            if m is None or n is None:
                return 0.0, 0.0
            return p.low[m] - p.high[n], p.high[m] - p.low[n]
        v = self.volts(vehicle, s, a) - self.volts(vehicle, s, b)
        return v, v

    def load_volts(self, vehicle: str, s: Step, p: Part) -> float:
        """V across a load, whatever the sign; the highest where it buzzes."""
        a, b = ("M", "31") if p.kind == "starter" else ("in", "out")
        c = self.circuit_of(vehicle)
        if metal(c, Term(p.name, a)) is None or metal(c, Term(p.name, b)) is None:
            return 0.0
        return max(abs(v) for v in self.across(vehicle, s, Term(p.name, a), Term(p.name, b)))

    def found(self, vehicle: str, steps: tuple[Step, ...]) -> list[Found]:
        """What every `must` line finds at every step, in order."""
        out = []
        for s in steps:
            for m, wanted in self._asked(s.phase):
                out.append(self._found(vehicle, s, m, wanted))
        return out

    def _asked(self, phase: str) -> list[tuple[Must, Literal["on", "off"]]]:
        c, p = self.job.sheet, self.phases[phase]
        out: list[tuple[Must, Literal["on", "off"]]] = []
        for m in c.musts:
            if names_phase(c, p, m.on):
                out.append((m, "on"))
            if names_phase(c, p, m.off):
                out.append((m, "off"))
        return out

    def _found(self, vehicle: str, s: Step, m: Must, wanted: Literal["on", "off"]) -> Found:
        after = self.base(s) == "after-run"
        if m.a is None or m.b is None:
            on, steady = signal(s.point, s, m)
            return Found(
                s, m, wanted, steady and on == (wanted == "on"), float(on), float(wanted == "on"), after
            )
        low, high = self.across(vehicle, s, m.a, m.b)
        if wanted == "on":
            least = m.min_v if m.min_v is not None else 0.0
            return Found(s, m, wanted, low >= least, low, least, after)
        most = m.max_off_v if m.max_off_v is not None else m.min_v if m.min_v is not None else 0.0
        worst = low if abs(low) > abs(high) else high
        return Found(s, m, wanted, abs(worst) <= most, worst, most, after)

    def mark(self, rule: str, start: str, f: Found) -> Mark:
        """A function as a mark."""
        where = (rule, start, f.step.phase, f.must.name)
        if f.must.module:
            return Mark(*where, f.value, f.limit if f.ok else 1 - f.value, "is")
        if f.wanted == "on":
            return Mark(*where, f.value, f.limit, "least")
        return Mark(*where, abs(f.value), f.limit, "most")

    def may_run_longer(self, m: Must) -> bool:
        """Fan, blower or lamp."""
        parts = self._loads_of(m)
        return all(longer(p) for p in parts) if parts else longer_words(m.name)

    def _loads_of(self, m: Must) -> list[Part]:
        if m.a is None or m.b is None:
            return []
        w = wiring(self.job.fed)
        ends = {w.node(m.a), w.node(m.b)} - {None}
        found = []
        for p in self.job.fed.parts:
            mine = {w.node(Term(p.name, t)) for t in ("in", "out", "M", "31")}
            if p.kind in LOADS and ends <= mine:
                found.append(p)
        return found

    def rating(self, name: str) -> float:
        return tables.number(self.shape.parts[key(name)], "rating_a")

    @cached_property
    def fuses(self) -> tuple[str, ...]:
        return tuple(p.name for p in self.circuit_of(self.vehicle).parts if p.kind in ("fuse", "link"))

    @cached_property
    def drivers(self) -> tuple[Driver, ...]:
        return tuple(x for x in self.job.sheet.modules if isinstance(x, Driver))


def amps(s: Step, branch: str) -> float:
    return s.point.amps.get(branch, 0.0)


def signal(p: Point, s: Step, m: Must) -> tuple[bool, bool]:
    """(is true, is steady) of the signal of a `must` line; a dead module says nothing."""
    module, name = key(m.module or ""), key(m.signal or "")
    alive = module in {key(x) for x in p.state["modules_alive"]}
    if name == "awake":
        on = module in {key(x) for x in p.state["modules_awake"]}
    else:
        on = f"{module}.{name}" in {key(x) for x in p.state["signals_true"]}
    steady = s.status != "chatter" or f"sig.{module}.{name}" not in {key(x) for x in p.buzzing}
    return on and alive, steady


LONGER = ("fan", "blower", "lamp", "light", "lit")
STOPS = ("fuel", "ignition", "injector", "starter", "crank", "glow", "heater", "heat", "pto", "preheat")


def longer_words(*texts: str | None) -> bool:
    """Words of the trade for what may run on, and none of what must stop (common practice)."""
    said = " ".join(key(t) for t in texts if t)
    return any(w in said for w in LONGER) and not any(w in said for w in STOPS)


def longer(p: Part) -> bool:
    if p.kind in ("lamp", "led"):
        return not any(w in " ".join(key(t) for t in (p.name, p.text) if t) for w in STOPS)
    return longer_words(p.name, p.text)


def active(s: Step) -> set[str]:
    """Relays energised, outputs on, signals true, and what buzzes."""
    st = s.point.state
    found = {f"relay.{n}" for n in st["relays_energised"]} | {f"drv.{n}" for n in st["drivers_on"]}
    found |= {f"sig.{n}" for n in st["signals_true"]}
    return {key(n) for n in found | (set(s.point.buzzing) if s.status == "chatter" else set())}


__all__ = ["Found", "Mark", "Signal", "Told", "active", "amps", "longer", "metal"]
