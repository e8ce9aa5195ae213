"""The discrete state, and what one solution says the next one is."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from amptrail.circuit import tables
from amptrail.circuit.model import (
    Always,
    And,
    Circuit,
    Driver,
    Expr,
    GroundPin,
    Held,
    InPhase,
    Input,
    Lives,
    Name,
    Not,
    Or,
    Part,
    Phase,
    Pulsed,
    Says,
    Signal,
    Supply,
    Term,
    key,
)
from amptrail.circuit.phases import closed, names_phase, position, turning
from amptrail.twin.dense import Solution
from amptrail.twin.elements import Element, Gate
from amptrail.twin.overlay import Faulty

Pair = tuple[str, str]
TimerKey = tuple[str, int]  # module, number of the held / pulsed expression in its lines


@dataclass(frozen=True)
class State:
    """What is on, awake, open. Names as the sheet spells them."""

    energised: frozenset[str] = frozenset()
    alive: frozenset[str] = frozenset()
    inputs: frozenset[Pair] = frozenset()
    signals: frozenset[Pair] = frozenset()
    on: frozenset[Pair] = frozenset()
    tripped: frozenset[Pair] = frozenset()
    excited: frozenset[str] = frozenset()
    fuses_open: frozenset[str] = frozenset()

    @property
    def awake(self) -> frozenset[str]:
        return frozenset(m for m, s in self.signals if key(s) == "awake")


@dataclass(frozen=True)
class Timer:
    """What a held or pulsed expression remembers: its operand's last settled value, when it turned."""

    value: bool = False
    since: float = -1e30
    until: float = -1e30


@dataclass
class Clock:
    """Time, phase, and committed timers. Seconds."""

    now: float
    phase: Phase | None
    timers: dict[TimerKey, Timer] = field(default_factory=dict)


def holds(gate: Gate, f: Faulty, s: State, phase: Phase | None) -> bool:
    """Whether an element's gate holds in a state and phase (phase None: battery off, key off)."""
    name = gate.name
    match gate.what:
        case "closed":
            got = _closed(f, name, phase)
        case "armature":
            got = f.stuck.get(key(name[0]), name[0] in s.energised)
        case "whole":
            got = name[0] not in s.fuses_open and f.stuck.get(key(name[0]), True)
        case "on":
            got = name in s.on
        case "awake":
            got = name[0] in s.awake
        case "excited":
            got = name[0] in s.excited
        case "cranking":
            got = phase is not None and phase.base == "cranking"
    return got == gate.want


def part_named(circuit: Circuit, name: str) -> Part:
    return next(p for p in circuit.parts if key(p.name) == key(name))


def _closed(f: Faulty, name: tuple[str, ...], phase: Phase | None) -> bool:
    if key(name[0]) in f.stuck:
        return f.stuck[key(name[0])]
    part = part_named(f.circuit, name[0])
    if part.contacts:
        known = tables.value(part, "positions")
        if not isinstance(known, tuple):
            known = tuple(dict.fromkeys(a for c in part.contacts for a in c.at))
        at = position(f.circuit, part.name, known, phase) if phase else known[0]
        contact = next(c for c in part.contacts if f"{c.a}-{c.b}" == name[1])
        return key(at) in {key(x) for x in contact.at}
    return closed(f.circuit, part, phase)


def frozen(f: Faulty, s: State, phase: Phase | None) -> list[Element]:
    """The elements that are there in a state; their numbers as that state has them."""
    out = []
    for e in f.bench.out:
        if e.gate is None or holds(e.gate, f, s, phase):
            out.append(e)
        elif e.rest is not None:
            out.append(replace(e, p=e.rest))
    return out


class View:
    """One solution seen by the logic: volts at terminals, amps and volts of branches."""

    def __init__(self, f: Faulty, here: list[Element], got: Solution) -> None:
        self.f, self.got = f, got
        self.at = {(key(e.branch.part), key(e.branch.name)): i for i, e in enumerate(here)}
        self.here = here

    def volts(self, part: str, name: str) -> float:
        return self.got.volts[self.f.bench.node(part, name)]

    def amps(self, part: str, name: str) -> float:
        i = self.at.get((key(part), key(name)))
        return 0.0 if i is None else self.got.amps[i]

    def across(self, part: str, name: str) -> float:
        i = self.at.get((key(part), key(name)))
        if i is None:
            return 0.0
        return self.got.volts[self.here[i].a] - self.got.volts[self.here[i].b]


def relay_next(v: View, p: Part, s: State) -> bool:
    """Hysteresis on the volts across the winding itself."""
    u = abs(v.across(p.name, "coil"))
    return u >= tables.number(p, "drop_v" if p.name in s.energised else "pull_v")


def alternator_next(v: View, p: Part, s: State, phase: Phase | None) -> bool:
    spins = turning(v.f.circuit, p, phase)
    if not spins or p.name in s.excited or v.f.bench.wiring.node(Term(p.name, "D+")) is None:
        return spins
    return v.amps(p.name, "field") >= tables.number(p, "excite_a")


class ModuleLogic:
    """The lines of one module, evaluated on a solution."""

    def __init__(self, f: Faulty, name: str) -> None:
        self.f, self.name = f, name
        self.lines = [x for x in f.circuit.modules if key(x.module) == key(name)]
        self.ground = next((x.pin for x in self.lines if isinstance(x, GroundPin)), "")
        self.signals = [x for x in self.lines if isinstance(x, Signal)]
        self.drivers = [x for x in self.lines if isinstance(x, Driver)]
        self.inputs = [x for x in self.lines if isinstance(x, Input)]

    def alive(self, v: View) -> bool:
        if key(self.name) in self.f.dead or not self.lines:
            return False
        lives = next((x.volts for x in self.lines if isinstance(x, Lives)), 6.0)
        zero = v.volts(self.name, self.ground)
        supplies = [x for x in self.lines if isinstance(x, Supply)]
        return any(
            v.volts(self.name, x.pin) - zero >= (lives if x.min_v is None else x.min_v) for x in supplies
        )

    def level(self, v: View, x: Input, was: bool) -> bool:
        if x.on_v is None:
            return False
        u = v.volts(self.name, x.pin) - v.volts(self.name, self.ground)
        off = x.on_v if x.off_v is None else x.off_v
        if x.active_low:
            return u <= (off if was else x.on_v)
        return u >= off if was else u >= x.on_v

    def step(self, v: View, s: State, clock: Clock, trial: dict[TimerKey, Timer]) -> State:
        """The module's part of the state after this solution. `trial` receives what timers would remember."""
        m = self.name
        alive = self.alive(v)
        inputs = {(m, x.name) for x in self.inputs if alive and self.level(v, x, (m, x.name) in s.inputs)}
        others = frozenset(p for p in s.signals if p[0] != m)
        s = replace(
            s,
            alive=(s.alive | {m}) if alive else (s.alive - {m}),
            inputs=frozenset(p for p in s.inputs if p[0] != m) | inputs,
            signals=others,
        )
        if not alive:
            for k in [k for k in (*clock.timers, *trial) if k[0] == m]:
                clock.timers.pop(k, None)
                trial.pop(k, None)
        count = iter(range(10_000))
        for x in self.signals:
            stays = key(x.name) == "awake" and key(m) in self.f.no_sleep
            told = self.truth(x.expr, s, clock, trial, count) if alive else False
            if alive and (told or stays):
                s = replace(s, signals=s.signals | {(m, x.name)})
        if alive and "awake" not in {key(x.name) for x in self.signals}:
            s = replace(s, signals=s.signals | {(m, "awake")})
        return self.drive(v, s, clock, trial, count)

    def drive(self, v: View, s: State, clock: Clock, trial: dict[TimerKey, Timer], count: object) -> State:
        m = self.name
        for d in self.drivers:
            me = (m, d.name)
            asked = m in s.alive and self.truth(d.when, s, clock, trial, count)
            over = d.limit_a is not None and abs(v.amps(m, d.pin)) > d.limit_a
            tripped = asked and (me in s.tripped or (me in s.on and over))
            forced = self.f.driven.get((key(m), key(d.name)))
            on = asked and not tripped and (m in s.awake or d.runs_asleep)
            if forced is not None:
                on, tripped = forced, False
            s = replace(
                s,
                on=(s.on | {me}) if on else (s.on - {me}),
                tripped=(s.tripped | {me}) if tripped else (s.tripped - {me}),
            )
        return s

    def truth(self, e: Expr, s: State, clock: Clock, trial: dict[TimerKey, Timer], count: object) -> bool:
        """Every operand is evaluated, so that a timer inside a short-cut `or` still runs."""

        def of(x: Expr) -> bool:
            return self.truth(x, s, clock, trial, count)

        match e:
            case Always():
                return True
            case InPhase(phase):
                return clock.phase is not None and names_phase(self.f.circuit, clock.phase, (phase,))
            case Name(name, scope):
                return self._named(s, name, scope)
            case Says(module, name):
                heard = {(key(a), key(b)) for a, b in s.signals}
                return (key(module), "awake") in heard and (key(module), key(name)) in heard
            case Not(x):
                return not of(x)
            case And(several):
                return False not in [of(x) for x in several]
            case Or(several):
                return True in [of(x) for x in several]
            case Held(x, seconds):
                return self._timed(of(x), seconds, clock, trial, next(count), held=True)  # type: ignore[call-overload]
            case Pulsed(x, seconds):
                return self._timed(of(x), seconds, clock, trial, next(count), held=False)  # type: ignore[call-overload]

    def _named(self, s: State, name: str, scope: str) -> bool:
        is_input = scope == "input" or (not scope and key(name) in {key(x.name) for x in self.inputs})
        return (key(self.name), key(name)) in {
            (key(a), key(b)) for a, b in (s.inputs if is_input else s.signals)
        }

    def _timed(
        self,
        now: bool,
        seconds: float,
        clock: Clock,
        trial: dict[TimerKey, Timer],
        number: int,
        *,
        held: bool,
    ) -> bool:
        """Held: true until `seconds` after a fall. Pulsed: true for `seconds` after a rise."""
        k = (self.name, number)
        was = clock.timers.get(k, Timer())
        turned = now != was.value
        since = clock.now if turned else was.since
        until = since + seconds
        trial[k] = Timer(now, since, until)
        if held:
            return now or clock.now < until
        return now and clock.now < until
