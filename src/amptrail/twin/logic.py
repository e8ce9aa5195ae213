"""What one solution says the next discrete state is: relays, alternators, the lines of modules."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count

from amptrail.circuit import tables
from amptrail.circuit.model import (
    BODY,
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
from amptrail.circuit.module_defaults import ALIVE_V
from amptrail.circuit.phases import names_phase, turning
from amptrail.twin.bench import refuse
from amptrail.twin.overlay import Faulty, first_of
from amptrail.twin.state import NEVER_S, Clock, Pair, State, Timer, TimerKey, View

LATE_S = 1e-9  # a deadline reached within a nanosecond has passed
KEY_ON = ("ignition-on", "cranking", "running")
Trial = dict[TimerKey, Timer]  # what timers would remember if this state settles
Stepper = Callable[[View, State, Clock, Trial], State]


def steppers(f: Faulty) -> list[tuple[str, Stepper]]:
    """The parts that have a state, in the order of the sheet."""
    out: list[tuple[str, Stepper]] = []
    for p in f.circuit.parts:
        if p.kind in ("relay", "starter"):
            out.append((p.name, _relay(f, p)))
        elif p.kind == "alternator":
            out.append((p.name, _alternator(f, p)))
        elif p.kind == "module":
            out.append((p.name, ModuleLogic(f, p.name).step))
    return out


def _position(f: Faulty, part: str, name: str) -> int:
    found = first_of(f.bench, Term(part, name))
    return -1 if found is None else found


def _relay(f: Faulty, p: Part) -> Stepper:
    """Hysteresis on the volts across the winding itself (of a starter: its hold-in winding)."""
    coil = _position(f, p.name, "coil")
    pull, drop = tables.number(p, "pull_v"), tables.number(p, "drop_v")
    me = frozenset((p.name,))

    def step(v: View, s: State, clock: Clock, trial: Trial) -> State:
        u = abs(v.across(coil))
        on = u >= (drop if p.name in s.energised else pull)
        return replace(s, energised=(s.energised | me) if on else (s.energised - me))

    return step


def _alternator(f: Faulty, p: Part) -> Stepper:
    """Excited while it turns: at once without D+, else from enough field current on."""
    field = _position(f, p.name, "field") if f.bench.joined(p.name, "D+") else None
    enough = tables.number(p, "excite_a")
    me = frozenset((p.name,))

    def step(v: View, s: State, clock: Clock, trial: Trial) -> State:
        on = turning(f.circuit, p, clock.phase)
        if on and p.name not in s.excited and field is not None:
            on = v.amps(field) >= enough
        return replace(s, excited=(s.excited | me) if on else (s.excited - me))

    return step


def said_by(circuit: Circuit) -> dict[Pair, Pair]:
    """Signals of every module: (key, key) -> as spelled."""
    return {
        (key(x.module), key(x.name)): (_spelled(circuit, x.module), x.name)
        for x in circuit.modules
        if isinstance(x, Signal)
    }


def _spelled(circuit: Circuit, module: str) -> str:
    return next((p.name for p in circuit.parts if key(p.name) == key(module)), module)


class ModuleLogic:
    """The lines of one module, evaluated on a solution."""

    def __init__(self, f: Faulty, name: str) -> None:
        self.f, self.name = f, name
        lines = [x for x in f.circuit.modules if key(x.module) == key(name)]
        self.signals = [x for x in lines if isinstance(x, Signal)]
        self.drivers = [(x, _position(f, name, x.name)) for x in lines if isinstance(x, Driver)]
        b = f.bench
        ground = next((x.pin for x in lines if isinstance(x, GroundPin)), None)
        self.ground = b.node(name, ground) if ground is not None else b.node(BODY.part, BODY.name)
        self.inputs = [(x, b.node(name, x.pin)) for x in lines if isinstance(x, Input)]
        lives = next((x.volts for x in lines if isinstance(x, Lives)), ALIVE_V)
        self.supplies = [
            (b.node(name, x.pin), lives if x.min_v is None else x.min_v)
            for x in lines
            if isinstance(x, Supply)
        ]
        self.heard = {key(x.name): (name, x.name) for x, _ in self.inputs}
        self.said = said_by(f.circuit)
        self.stays = key(name) in f.no_sleep
        self.own = frozenset((name, x.name) for x in self.signals) | {(name, "awake")}

    def alive(self, v: View) -> bool:
        if key(self.name) in self.f.dead:
            return False
        zero = v.volts(self.ground)
        return any(v.volts(pin) - zero >= least for pin, least in self.supplies)

    def level(self, v: View, x: Input, pin: int, was: bool) -> bool:
        if x.on_v is None or (key(self.name), key(x.name)) in self.f.deaf:
            return False
        u = v.volts(pin) - v.volts(self.ground)
        off = x.on_v if x.off_v is None else x.off_v
        if x.active_low:
            return u <= (off if was else x.on_v)
        return u >= off if was else u >= x.on_v

    def step(self, v: View, s: State, clock: Clock, trial: Trial) -> State:
        """The module's part of the state after this solution. A signal that a line names before its own
        line has come is the one of the round before."""
        m = self.name
        alive = self.alive(v)
        # of a module without supply only signals and timers are gone (the format's own text), not its levels
        inputs = {(m, x.name) for x, pin in self.inputs if self.level(v, x, pin, (m, x.name) in s.inputs)}
        s = replace(
            s,
            alive=(s.alive | {m}) if alive else (s.alive - {m}),
            inputs=frozenset(p for p in s.inputs if p[0] != m) | inputs,
        )
        if not alive:
            for k in [k for k in (*clock.timers, *trial) if k[0] == m]:
                clock.timers.pop(k, None)
                trial.pop(k, None)
            s = replace(s, signals=s.signals - self.own)
        numbers = count()
        for x in self.signals if alive else ():
            is_awake = key(x.name) == "awake"
            told = self.truth(x.expr, s, clock, trial, numbers) or (is_awake and self.stays)
            me = {(m, x.name)}
            s = replace(s, signals=(s.signals | me) if told else (s.signals - me))
        if alive and "awake" not in {key(x.name) for x in self.signals}:
            s = replace(s, signals=s.signals | {(m, "awake")})
        return self.drive(v, s, clock, trial, numbers)

    def drive(self, v: View, s: State, clock: Clock, trial: Trial, numbers: Iterator[int]) -> State:
        m = self.name
        awake = (m, "awake") in s.signals or m in s.awake
        for d, position in self.drivers:
            me = (m, d.name)
            asked = m in s.alive and self.truth(d.when, s, clock, trial, numbers)
            over = d.limit_a is not None and v.peak_amps(position) > d.limit_a
            kept = asked or (d.latch == "key" and m in s.alive and _key_on(clock.phase))
            tripped = kept and (me in s.tripped or (asked and me in s.on and over))
            forced = self.f.driven.get((key(m), key(d.name)))
            on = asked and not tripped and (awake or d.runs_asleep)
            if forced is not None:
                on, tripped = forced, me in s.tripped if forced else tripped
            s = replace(
                s,
                on=(s.on | {me}) if on else (s.on - {me}),
                tripped=(s.tripped | {me}) if tripped else (s.tripped - {me}),
            )
        return s

    def truth(self, e: Expr, s: State, clock: Clock, trial: Trial, numbers: Iterator[int]) -> bool:
        """Every operand is evaluated, so that a timer inside a short-cut `or` still runs."""

        def of(x: Expr) -> bool:
            return self.truth(x, s, clock, trial, numbers)

        match e:
            case Always():
                return True
            case InPhase(phase):
                return clock.phase is not None and names_phase(self.f.circuit, clock.phase, (phase,))
            case Name(name, scope):
                return self._named(s, name, scope)
            case Says(module, name):
                speaks = self.said.get((key(module), "awake"), (_spelled(self.f.circuit, module), "awake"))
                return speaks in s.signals and self.said.get((key(module), key(name))) in s.signals
            case Not(x):
                return not of(x)
            case And(several):
                return False not in [of(x) for x in several]
            case Or(several):
                return True in [of(x) for x in several]
            case Held(x, seconds):
                now = of(x)
                return self._held(now, seconds, clock, trial, next(numbers))
            case Pulsed(x, seconds):
                now = of(x)
                return self._pulsed(now, seconds, clock, trial, next(numbers))

    def _named(self, s: State, name: str, scope: str) -> bool:
        if scope != "signal" and key(name) in self.heard:
            return self.heard[key(name)] in s.inputs
        pair = self.said.get((key(self.name), key(name)))
        if pair is None:
            raise refuse("unknown-name", f"{self.name} has no input or signal {name}")
        return pair in s.signals

    def _held(self, now: bool, seconds: float, clock: Clock, trial: Trial, number: int) -> bool:
        """True until `seconds` after a fall."""
        k = (self.name, number)
        was = clock.timers.get(k, Timer())
        until = NEVER_S if now else clock.now + seconds if was.value else was.until
        trial[k] = Timer(now, until)
        return now or clock.now < until - LATE_S

    def _pulsed(self, now: bool, seconds: float, clock: Clock, trial: Trial, number: int) -> bool:
        """True for `seconds` after a rise, while it lasts."""
        k = (self.name, number)
        was = clock.timers.get(k, Timer())
        until = NEVER_S if not now else was.until if was.value else clock.now + seconds
        trial[k] = Timer(now, until)
        return now and clock.now < until - LATE_S


def _key_on(phase: Phase | None) -> bool:
    return phase is not None and phase.base in KEY_ON
