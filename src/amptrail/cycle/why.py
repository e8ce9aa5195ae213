"""Why something is on: the chain of inputs, feeds, contacts and drivers it rests on, loops included."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from amptrail.circuit.model import (
    Always,
    And,
    Driver,
    Expr,
    Held,
    InPhase,
    Name,
    Not,
    Or,
    Pulsed,
    Says,
    Signal,
    key,
)  # fmt: skip
from amptrail.circuit.phases import names_phase
from amptrail.cycle.functions import FED_V
from amptrail.cycle.timeline import Cause, Instant
from amptrail.cycle.trail import Passed, bits_of, follow
from amptrail.solve import laws
from amptrail.solve.stepping import Stepper

DEEPEST = 12
LOADS = ("lamp", "led", "motor", "solenoid", "heater", "ptc", "load")
LOAD_A = 1e-3  # below this a load is not fed (common practice)
ALIVE, AWAKE, DRIVER, INPUT, SIGNAL = 1, 2, 3, 7, 8  # lists of the state vector
CHANGED = "a fault holds it so"
Above = tuple[str, ...]


@dataclass
class Asker:
    """Answers for the instant the stepper stands at, which has the lane with its changes and the timers."""

    step: Stepper
    now: Instant
    timer: dict[int, int] = field(default_factory=dict)  # id of a Held or Pulsed -> timer number

    def __post_init__(self) -> None:
        self.net = self.now.network
        self.lane = self.step.lane
        self.amps = self.step.amps  # bridges and instruments included
        c = self.net.circuit
        self.signals = {(key(x.module), key(x.name)): x for x in c.modules if isinstance(x, Signal)}
        self.drivers = {key(f"{x.module}.{x.name}"): x for x in c.modules if isinstance(x, Driver)}
        self.inputs = {key(n): (n, i) for n, i in self.net.inputs.items()}
        self.number = {key(m): i for i, m in enumerate(self.net.modules)}
        self.signal_no = {
            key(n.removeprefix("signal ")): i
            for i, n in enumerate(x for x in self.net.items if x.startswith("signal "))
        }
        count = 0
        for m in self.net.modules:  # timers are numbered as the programs were compiled
            own = [x for x in c.modules if key(x.module) == key(m)]
            items: list[Expr] = [x.expr for x in own if isinstance(x, Signal)]
            items += [x.when for x in own if isinstance(x, Driver)]
            for e in items:
                count = self._number(e, count)

    def _number(self, e: Expr, count: int) -> int:
        for x in _inner(e):
            count = self._number(x, count)
        if isinstance(e, (Held, Pulsed)):
            self.timer[id(e)] = count
            return count + 1
        return count

    # ---- items ------------------------------------------------------------------------------------
    def item(self, name: str, above: Above = ()) -> Cause:
        """The cause of a state item such as `awake ECM`, `relay K4`, `driver ECM.main`, `charging ALT`."""
        if name in above:
            return Cause(name, "see above", loop=True)
        if len(above) >= DEEPEST:
            return Cause(name, "and so on")
        kind, _, who = name.partition(" ")
        under = (*above, name)
        if kind == "awake":
            return self._module(name, who, under)
        if kind == "relay":
            return self._relay(name, who, under)
        if kind == "driver":
            return self._driver(name, who, under)
        if kind == "load":
            return self._load(name, who, under)
        if kind == "charging":
            return Cause(name, "it turns and excites itself")
        if kind == "input":
            return self._input(name, who, under)
        module, _, signal = who.partition(".")
        return self._signal(name, module, signal, under)

    def _module(self, name: str, who: str, above: Above) -> Cause:
        m = self.number[key(who)]
        if self.lane.module[m] == 1:
            return Cause(name, CHANGED)
        if (key(who), "awake") not in self.signals:
            return Cause(name, "it has no sleep: awake whenever it is supplied", self._supplies(m, above))
        return self._signal(name, who, "awake", above)

    def _supplies(self, m: int, above: Above) -> tuple[Cause, ...]:
        s = self.net.static
        for k in range(int(s.mod_range[m, 0]), int(s.mod_range[m, 1])):
            node = int(s.sup_node[k])
            volts = self._across(node, int(s.mod_ground[m]))
            if volts >= float(self.lane.least[k]):
                return (self._fed(f"supply {self.net.modules[m]}", f"{volts:.2f} V", node, True, above),)
        return ()

    def _across(self, a: int, b: int) -> float:
        return round(float(self.now.volts[a] - self.now.volts[b]), 2) + 0.0  # no -0.00 V

    def _relay(self, name: str, who: str, above: Above) -> Cause:
        coil = int(self.net.static.coil[[key(r) for r in self.net.relays].index(key(who))])
        amps = float(self.now.amps[coil])
        a, b = int(self.lane.na[coil]), int(self.lane.nb[coil])
        high, low = (a, b) if amps >= 0 else (b, a)
        volts = abs(amps) * float(self.lane.p[coil, 0])
        up = self._fed(f"feed of {who}", f"{volts:.2f} V across its coil", high, True, above)
        down = self._fed(f"ground of {who}", "its other end", low, False, above)
        return Cause(name, f"{volts:.2f} V across its coil, {_trail(up, down)}", (*up.by, *down.by))

    def _load(self, name: str, who: str, above: Above) -> Cause:
        b = self.net.branch(who)
        a, z = int(self.lane.na[b]), int(self.lane.nb[b])
        high, low = (a, z) if self.amps[b] >= 0 else (z, a)
        volts = f"{self._across(high, low):.2f} V across it"
        up = self._fed(f"feed of {who}", volts, high, True, above)
        down = self._fed(f"ground of {who}", "its other end", low, False, above)
        return Cause(name, f"{volts}, {_trail(up, down)}", (*up.by, *down.by))

    def _driver(self, name: str, who: str, above: Above) -> Cause:
        d = self.drivers[key(who)]
        if self.lane.driver[[key(x) for x in self.net.drivers].index(key(who))] == 1:
            return Cause(name, CHANGED)
        asleep = () if d.runs_asleep else (self.item(f"awake {d.module}", above),)
        words, by = self._true(d.when, d.module, above)
        mine = tuple(c for c in by if c.item not in {x.item for x in asleep})
        return Cause(name, f"{d.module} switches it while {words}", (*mine, *asleep))

    def _signal(self, name: str, module: str, signal: str, above: Above) -> Cause:
        found = self.signals.get((key(module), key(signal)))
        if found is None:
            return Cause(name, "nothing says")
        words, by = self._true(found.expr, module, above)
        return Cause(name, words, by)

    def _input(self, name: str, who: str, above: Above) -> Cause:
        spelled, i = self.inputs[key(who)]
        module = who.partition(".")[0]
        s = self.net.static
        node, m = int(s.in_node[i]), self.number[key(module)]
        volts = self._across(node, int(s.mod_ground[m]))
        on, off = (float(x) for x in self.lane.level[i])
        low = bool(s.in_low[i])
        edge = f"on {'at or below' if low else 'from'} {on:g} V, off {'above' if low else 'below'} {off:g} V"
        got = self._fed(f"pin of {spelled}", f"{volts:.2f} V ({edge})", node, not low, above)
        return Cause(name, got.because, got.by)

    def _fed(self, item: str, what: str, node: int, up: bool, above: Above) -> Cause:
        """What holds a node up or down: the way there, and what is switched along it."""
        way = follow(self.net, self.lane, self.amps, node, up)
        by = tuple(self._gate(g, u, n, above) for g, u, n in way.gates)
        return Cause(item, f"{what} {_way(way, up)}".strip(), tuple(c for c in by if c is not None))

    def _gate(self, gate: int, unit: int, name: str, above: Above) -> Cause | None:
        if gate in (laws.MADE, laws.BROKEN):
            relay = self.net.relays[unit]
            if self.lane.relay[unit] >= 0:
                return Cause(f"contact {name}", CHANGED)
            if gate == laws.BROKEN:
                return Cause(f"contact {name}", f"{relay} is at rest")
            if bits_of(self.net, self.now.bits, 0, unit):
                return self.item(f"relay {relay}", above)
        if gate == laws.DRIVER and bits_of(self.net, self.now.bits, DRIVER, unit):
            return self.item(f"driver {self.net.drivers[unit]}", above)
        if gate == laws.SWITCH and ":" not in self.net.switches[unit]:
            held = self.lane.switch[unit] >= 0
            closed = CHANGED if held else f"closed in {self.now.phase}"
            return Cause(f"switch {self.net.switches[unit]}", closed)
        if gate in (laws.SUPPLY, laws.PULL, laws.REF) and bits_of(self.net, self.now.bits, AWAKE, unit):
            return self.item(f"awake {self.net.modules[unit]}", above) if gate != laws.SUPPLY else None
        if gate == laws.CHARGE:
            return self.item(f"charging {self.net.alternators[unit]}", above)
        return None

    # ---- expressions ------------------------------------------------------------------------------
    def _value(self, e: Expr, module: str) -> bool:
        bits = self.now.bits
        if isinstance(e, Always):
            return True
        if isinstance(e, Name):
            k = key(f"{module}.{e.name}")
            if k in self.inputs and e.scope != "signal":
                return bits_of(self.net, bits, INPUT, self.inputs[k][1])
            return bits_of(self.net, bits, SIGNAL, self.signal_no[k])
        if isinstance(e, Says):
            m = self.number[key(e.module)]
            said = bits_of(self.net, bits, SIGNAL, self.signal_no[key(f"{e.module}.{e.name}")])
            return said and bits_of(self.net, bits, ALIVE, m) and bits_of(self.net, bits, AWAKE, m)
        if isinstance(e, InPhase):
            return names_phase(self.net.circuit, self.net.phases[self.now.at], (e.phase,))
        if isinstance(e, Not):
            return not self._value(e.of, module)
        if isinstance(e, And):
            return all(self._value(x, module) for x in e.of)
        if isinstance(e, Or):
            return any(self._value(x, module) for x in e.of)
        if isinstance(e, Pulsed):
            return self._value(e.of, module) and self._left(e) > 0
        return self._value(e.of, module) or self._left(e) > 0

    def _left(self, e: Held | Pulsed) -> float:
        return float(self.step.work.until[self.timer[id(e)]]) - self.now.t_s

    def _true(self, e: Expr, module: str, above: Above) -> tuple[str, tuple[Cause, ...]]:
        """In words, and from what, an expression that is true is true."""
        if isinstance(e, Always):
            return "always", ()
        if isinstance(e, Name):
            if key(f"{module}.{e.name}") in self.inputs and e.scope != "signal":
                return f"{e.name} is on", (self.item(f"input {module}.{e.name}", above),)
            return f"{e.name} is on", (self.item(_signal_item(module, e.name), above),)
        if isinstance(e, Says):
            return f"{e.module} says {e.name}", (self.item(_signal_item(e.module, e.name), above),)
        if isinstance(e, InPhase):
            return f"the phase is {self.now.phase}", ()
        if isinstance(e, Not):
            return f"not {self._words(e.of)}", self._false(e.of, module, above)
        if isinstance(e, And):
            return _joined([self._true(x, module, above) for x in e.of])
        if isinstance(e, Or):
            return _joined([self._true(x, module, above) for x in e.of if self._value(x, module)])
        if self._value(e.of, module):
            return self._true(e.of, module, above)
        return f"{self._words(e.of)} was on and is held {e.seconds:g} s, {self._left(e):.0f} s to go", ()

    def _false(self, e: Expr, module: str, above: Above) -> tuple[Cause, ...]:
        """Why an input that is not on is not: its volts."""
        if isinstance(e, Name) and key(f"{module}.{e.name}") in self.inputs and e.scope != "signal":
            got = self._input(f"input {module}.{e.name}", f"{module}.{e.name}", above)
            return (Cause(f"input {module}.{e.name} off", got.because),)
        return ()

    def _words(self, e: Expr) -> str:
        if isinstance(e, (Name, Says)):
            return e.name if isinstance(e, Name) else f"{e.module} says {e.name}"
        if isinstance(e, InPhase):
            return f"phase {e.phase}"
        inner = [self._words(x) for x in _inner(e)]
        return f" {'or' if isinstance(e, Or) else 'and'} ".join(inner) if inner else "always"


def _signal_item(module: str, name: str) -> str:
    return f"awake {module}" if key(name) == "awake" else f"signal {module}.{name}"


def _inner(e: Expr) -> tuple[Expr, ...]:
    if isinstance(e, (And, Or)):
        return e.of
    return (e.of,) if isinstance(e, (Not, Held, Pulsed)) else ()


def _joined(parts: Iterable[tuple[str, tuple[Cause, ...]]]) -> tuple[str, tuple[Cause, ...]]:
    all_ = list(parts)
    return " and ".join(w for w, _ in all_), tuple(c for _, by in all_ for c in by)


def _way(way: Passed, up: bool) -> str:
    if not way.names and way.source is None:
        return ""
    through = f" through {', '.join(reversed(way.names) if up else way.names)}" if way.names else ""
    if up:
        return f"from {way.source or 'its own metal'}{through}"
    return f"to ground{through}"


def _trail(up: Cause, down: Cause) -> str:
    ways = (up.because[up.because.index(" across it") :], down.because.removeprefix("its other end"))
    ways = (ways[0].removeprefix(" across its coil").removeprefix(" across it"), ways[1])
    return "; ".join(w.strip() for w in ways if w.strip())


def still_on(now: Instant) -> tuple[str, ...]:
    """Modules awake, relays in, and loads that are fed, by their names in the timeline."""
    net = now.network
    items = [n for n, b in zip(net.items, now.bits, strict=True) if b and n.split()[0] in ("awake", "relay")]
    for part in net.circuit.parts:
        b = net.branch_of.get(key(part.name))
        if part.kind in LOADS and b is not None:
            volts = abs(float(now.volts[net.base.na[b]] - now.volts[net.base.nb[b]]))
            if volts >= FED_V and abs(float(now.amps[b])) > LOAD_A:
                items.append(f"load {part.name}")
    return tuple(items)


def causes(step: Stepper, now: Instant, items: Iterable[str]) -> tuple[Cause, ...]:
    """Why each of these state items is on at this instant. Empty where nothing is steady."""
    if now.status in ("chatter", "not_converged"):
        return ()
    asker = Asker(step, now)
    return tuple(asker.item(i) for i in items)


def loops_of(why: Iterable[Cause]) -> tuple[str, ...]:
    """Every closed chain in one line, each item resting on the next; one loop is told once."""
    found: dict[frozenset[str], str] = {}
    for loop in (x for c in why for x in c.loops()):
        first = loop.index(min(loop))
        turned = loop[first:] + loop[:first]
        found.setdefault(frozenset(loop), " ← ".join((*turned, turned[0])))
    return tuple(found.values())
