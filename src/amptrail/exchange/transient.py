"""A ngspice deck of a circuit that lives through a story in time: nothing in it is settled by our own kernel.

Windings have inductance and a contact follows its armature; modules are built of comparators with hysteresis,
logic and capacitors for what they hold; only what the person does (key, switches, engine turning) is given.
The resistances are those of the compiled network. Fuses stay whole, motors have no inertia.

    phase  --PWL--> switches         coil: R + L --amps--> magnet (hysteresis) --way--> contact
    inputs --comparators--> signals (logic, holds) --> awake, drivers --> supplies, switches
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from amptrail.circuit.model import Term, key
from amptrail.errors import ModelError, Problem
from amptrail.exchange.deck import LOOSE, law_text, node
from amptrail.solve import laws, logic
from amptrail.solve.network import Network
from amptrail.solve.records import Lane

LAG_S = 0.0065  # L/R of a relay's winding (FACTS section 3: 5 to 8 ms)
WAY_S = 0.00125  # from the magnet to the contact (FACTS section 3: 1 to 1.5 ms)
PLUNGER_S = 0.02  # of a starter (common practice)
LOSSES_OHM, LOSSES_F = 10e3, 100e-12  # a bare winding's own: 1 000 to 1 500 V when let go (FACTS section 3)
MOST_ROWS = 30_000
THINKS_S = 0.002  # a module, from its pins to its drivers (common practice: it looks every few ms)
SMOOTH_S = 2e-5  # of the sense of a winding's amperes: ngspice wants no corner
EDGE_S = 2e-4  # of a switch under a hand
OFF_OHM = 1e12
STEEP = 10.0  # a tenth of the way of an armature, or of a hand
HOLD_F = 1e-3
# a wire has some 100 pF a metre to the body (from memory); every node has that of a few
TOLERANCES = "reltol=1e-3 abstol=1e-6 vntol=1e-4 cshunt=5e-10"
PROBE_OHM = 10e6  # of a ten-to-one probe (common practice)
COIL_OF_STARTER = ".pull"


@dataclass(frozen=True, slots=True)
class Watch:
    """A channel: volts between nodes `a` and `b`, or the amperes of `branch`."""

    name: str
    a: int = -1
    b: int = -1
    branch: int = -1


Story = Sequence[tuple[int, float]]  # (number of the phase, seconds in it)


def _pwl(name: str, levels: Sequence[int], story: Story) -> list[str]:
    """A source that follows the phases; constant when they all say the same."""
    seen = [levels[k] for k, _ in story]
    if len(set(seen)) == 1:
        return [f"V{name} {name} 0 {seen[0]}"]
    points = [f"0 {seen[0]}"]
    t = 0.0
    for (_, seconds), was, now in zip(story, seen, seen[1:], strict=False):
        t += seconds
        if now != was:
            points += [f"{t!r} {was}", f"{t + EDGE_S!r} {now}"]
    return [f"V{name} {name} 0 PWL({' '.join(points)})"]


def _true(name: str) -> str:
    return f"u(v({name})-0.5)"


class _Deck:
    """Collects the lines; numbers as in the network."""

    def __init__(self, net: Network, lane: Lane, story: Story) -> None:
        self.net, self.lane, self.story = net, lane, story
        self.s = net.static
        self.lines: list[str] = []
        self.coil_of = {int(b): unit for unit, b in enumerate(self.s.coil)}

    # -- what drives the switches

    def switches(self) -> None:
        s, lane = self.s, self.lane
        for unit in range(s.closed.shape[1]):
            fixed = int(lane.switch[unit])
            rows = [fixed] * len(self.net.phases) if fixed >= 0 else [int(x) for x in s.closed[:, unit]]
            self.lines += _pwl(f"sw{unit}", rows, self.story)
        for unit in range(s.spins.shape[1]):
            if int(s.field[unit]) >= 0:
                raise _cannot("an alternator that must be excited", self.net.alternators[unit])
            self.lines += _pwl(f"sp{unit}", [int(x) for x in s.spins[:, unit]], self.story)
        for k in range(len(self.net.phases)):
            rows = [int(n == k) for n in range(len(self.net.phases))]
            self.lines += _pwl(f"ph{k}", rows, self.story)

    def relays(self) -> None:
        lines = self.lines
        for unit, name in enumerate(self.net.relays):
            b, stuck = int(self.s.coil[unit]), int(self.lane.relay[unit])
            if stuck >= 0:
                lines.append(f"Varm{unit} arm{unit} 0 {stuck}")
                continue
            pull, drop = (float(x) for x in self.lane.pull_drop[unit])
            ohm = float(self.lane.p[b, 0])
            starter = any(n == f"{name}{COIL_OF_STARTER}" for n in self.net.branches)
            way = PLUNGER_S if starter else WAY_S
            lines += [
                f"Bmag{unit} mx{unit} 0 V=abs(i(Vl{b}))*{ohm!r}",
                f"Rmv{unit} mx{unit} mv{unit} 1k",
                f"Cmv{unit} mv{unit} 0 {SMOOTH_S / 1e3!r}",
                f"Smag{unit} one mag{unit} mv{unit} 0 MAG{unit}",
                f".model MAG{unit} SW(VT={(pull + drop) / 2!r} VH={(pull - drop) / 2!r} RON=0.01 ROFF=1e9)",
                f"Rmag{unit} mag{unit} 0 10",
                f"Rway{unit} mag{unit} arm{unit} 1k",
                f"Cway{unit} arm{unit} 0 {way / 1e3 / math.log(2)!r}",
            ]

    # -- modules

    def modules(self) -> None:
        for m, name in enumerate(self.net.modules):
            self._module(m, name)

    def _module(self, m: int, name: str) -> None:
        s, lane, lines = self.s, self.lane, self.lines
        ground = node(self.net, int(s.mod_ground[m]))
        sup0, sup1, in0, in1, item0, item1 = (int(x) for x in s.mod_range[m])
        fed = [f"u(v({node(self.net, int(s.sup_node[k]))})-v({ground})-{float(lane.least[k])!r})"
               for k in range(sup0, sup1)]  # fmt: skip
        dead = int(lane.module[m]) == 2
        self._lagging(f"al{m}", "0" if dead or not fed else f"min(1,{'+'.join(fed)})")
        for i in range(in0, in1):
            self._input(i, ground)
        awake = int(s.mod_awake[m])
        stays = awake < 0 or int(lane.module[m]) == 1
        for k in range(item0, item1):
            unit = int(s.item_unit[k])
            value = f"{_true(f'al{m}')}*({self._program(k, m)})"
            if int(s.item_kind[k]) == 0:
                if unit == awake and stays:
                    value = _true(f"al{m}")
                self._lagging(f"sg{unit}", value)
                continue
            forced = int(lane.driver[unit])
            runs = value if int(s.drv_asleep[unit]) else f"({value})*{_true(f'aw{m}')}"
            self._lagging(f"dr{unit}", "1" if forced == 1 else "0" if forced == 0 else runs)
        source = f"al{m}" if stays else f"sg{awake}"
        lines.append(f"Eaw{m} aw{m} 0 {source} 0 1")

    def _lagging(self, name: str, value: str) -> None:
        """A truth that follows its reasons a little later, as all that computes does."""
        self.lines += [
            f"B{name}x {name}x 0 V={value}",
            f"R{name} {name}x {name} 1k",
            f"C{name} {name} 0 {THINKS_S / 1e3!r}",
        ]

    def _input(self, i: int, ground: str) -> None:
        on, off = (float(x) for x in self.lane.level[i])
        if self.lane.input[i] or not math.isfinite(on):
            self.lines.append(f"Vin{i} in{i} 0 0")
            return
        low = bool(self.s.in_low[i])
        pin = node(self.net, int(self.s.in_node[i]))
        first, second = ("0", "one") if low else ("one", "0")
        self.lines += [
            f"Sin{i} {first} in{i} {pin} {ground} IN{i}",
            f"Rin{i} in{i} {second} 1k",
            f".model IN{i} SW(VT={(on + off) / 2!r} VH={abs(on - off) / 2 + 1e-3!r} RON=0.01 ROFF=1e9)",
        ]

    def _program(self, item: int, m: int) -> str:
        """The stack program of a signal or driver as an expression of truths."""
        s = self.s
        stack: list[str] = []
        for pc in range(int(s.item_code[item, 0]), int(s.item_code[item, 1])):
            op, a, b = (int(x) for x in s.code[pc])
            if op == logic.TRUE:
                stack.append("1")
            elif op == logic.INPUT:
                stack.append(_true(f"in{a}"))
            elif op == logic.SIGNAL:
                stack.append(_true(f"sg{a}"))
            elif op == logic.PHASE:
                stack.append(_true(f"ph{a}") if a >= 0 else "0")
            elif op == logic.BUS:
                stack.append(f"({_true(f'sg{a}')}*{_true(f'al{b}')}*{_true(f'aw{b}')})")
            elif op in (logic.AND, logic.OR):
                mine, stack = stack[-a:], stack[:-a]
                stack.append(f"({'*'.join(mine)})" if op == logic.AND else f"min(1,{'+'.join(mine)})")
            elif op == logic.NOT:
                stack.append(f"(1-{stack.pop()})")
            else:
                stack.append(self._timed(a, stack.pop(), op == logic.HOLD))
        return stack[0]

    def _timed(self, k: int, value: str, holds: bool) -> str:
        """Held: true for so long after its reason has gone, a capacitor filled while the reason is there and
        then emptied evenly. Pulsed: true for so long after its reason has come, filled while it is not."""
        seconds = float(self.s.hold_s[k])
        there = _true(f"he{k}")
        empties = f"(1-{there})" if holds else there
        self.lines += [
            f"Bhe{k} he{k} 0 V={value}",
            f"Bhf{k} hf{k} 0 V={there if holds else f'1-{there}'}",
            f"Sht{k} one ht{k} hf{k} 0 SWL",
            f"Cht{k} ht{k} 0 {HOLD_F!r}",
            f"Bht{k} ht{k} 0 I={empties}*u(v(ht{k})-1e-3)*{HOLD_F / max(seconds, 1e-3)!r}",
        ]
        left = f"u(v(ht{k})-2e-3)"
        return f"min(1,{there}+{left})" if holds else f"({there}*{left})"

    # -- the network itself

    def branches(self) -> None:
        copies = {int(r): int(c) for r, c in self.s.refs}
        for b in range(self.lane.kind.size):
            kind, a, z = int(self.lane.kind[b]), int(self.lane.na[b]), int(self.lane.nb[b])
            if kind in (laws.NONE, laws.CURRENT) or self.lane.open[b] or a == z:
                continue
            a_, z_ = node(self.net, a), node(self.net, z)
            self.lines.append(f"Vb{b} {a_} b{b} 0")  # every branch's amperes can be watched
            if kind == laws.RES:
                self._linear(b, f"b{b}", z_)
            else:
                c = copies.get(b)
                ends = "" if c is None else (
                    f"{node(self.net, int(self.lane.na[c]))} {node(self.net, int(self.lane.nb[c]))}"
                )  # fmt: skip
                self._bent(b, kind, z_, ends)

    def _linear(self, b: int, a: str, z: str) -> None:
        s, lines = self.s, self.lines
        gate, unit = int(s.gate[b]), int(s.unit[b])
        p0, p1, p2, p3 = (float(x) for x in self.lane.p[b])
        ohm = max(p0, 1e-6) + float(self.lane.series[b])
        if b in self.coil_of:
            henry = p0 * LAG_S
            lines += [f"R{b} {a} c{b} {ohm!r}", f"L{b} c{b} l{b} {henry!r}", f"Vl{b} l{b} {z} 0",
                      f"Rloss{b} {a} {z} {LOSSES_OHM!r}", f"Closs{b} {a} {z} {LOSSES_F!r}"]  # fmt: skip
        elif gate == laws.SWITCH:
            self._switch(b, a, z, f"v(sw{unit})", ohm)
        elif gate == laws.MADE:
            self._switch(b, a, z, f"v(arm{unit})", ohm)
        elif gate == laws.BROKEN:
            self._switch(b, a, z, f"(1-v(arm{unit}))", ohm)
        elif gate == laws.DRIVER:
            self._switch(b, a, z, f"v(dr{unit})", p0 / max(p2, 1e-12), p1)
        elif gate == laws.LOWSIDE:
            lines.append(f"Blo{b} lo{b} 0 V={_true(f'aw{int(p3)}')}*(1-{_true(f'dr{unit}')})")
            self._switch(b, a, z, f"v(lo{b})", p0, p1)
        elif gate == laws.SUPPLY:
            self._switch(b, a, z, f"v(aw{unit})", p0, p1)
        elif gate == laws.PULL:
            lines.append(f"B{b} {a} {z} I=(v({a})-v({z})-{p1!r}*{_true(f'aw{unit}')})/{ohm!r}")
        else:
            lines.append(f"R{b} {a} {z} {ohm!r}")

    def _switch(self, b: int, a: str, z: str, x: str, on: float, off: float = OFF_OHM) -> None:
        """A contact that goes from `off` to `on` ohms evenly in decades while the truth `x` goes through its
        middle: a jump in no time is nothing a simulator can follow, and no contact makes one."""
        share = f"min(1,max(0,{STEEP!r}*({x}-0.5)+0.5))"
        ohm = f"exp({math.log(off)!r}+{math.log(max(on, 1e-6) / off)!r}*{share})"
        self.lines.append(f"B{b} {a} {z} I=v({a},{z})/{ohm}" if z != "0" else f"B{b} {a} 0 I=v({a})/{ohm}")

    def _bent(self, b: int, kind: int, z: str, copied: str) -> None:
        s, lines = self.s, self.lines
        gate, unit = int(s.gate[b]), int(s.unit[b])
        p = tuple(float(v) for v in self.lane.p[b])
        series = float(self.lane.series[b]) + (p[2] if kind == laws.DIODE else 0.0)
        inner = z
        if series > 0:
            inner = f"i{b}"
            lines.append(f"R{b} {inner} {z} {series!r}")
        if kind == laws.DIODE:
            lines += [f".model D{b} D(is={p[0]!r} n={p[1]!r})", f"D{b} b{b} {inner} D{b}"]
            return
        when = {laws.SWITCH: f"sw{unit}", laws.CHARGE: f"sp{unit}", laws.REF: f"aw{unit}"}.get(gate)
        text = law_text(kind, f"v(b{b})-v({inner})", p)
        text = f"{_true(when)}*({text})" if when else text
        lines.append(f"B{b} b{b} {inner} I={text}")
        if copied:
            lines.append(f"B{b}c {copied} I={text}")


def _cannot(what: str, where: str) -> ModelError:
    return ModelError((Problem("no-transient", f"{where}: {what} is not written as a transient yet",
                               remedy="use convert --to netlist, phase by phase"),))  # fmt: skip


def transient(net: Network, lane: Lane, story: Story, watch: Sequence[Watch], step_s: float) -> str:
    """A deck that writes `scope.txt`: instant, then every channel, each `step_s` seconds of the story.

    ModelError where the circuit has what cannot be written so. ngspice's own tolerances, 1e-4 relative.
    """
    d = _Deck(net, lane, story)
    d.lines += ["* " + " then ".join(f"{net.phases[k].name} {s:g} s" for k, s in story), "Vone one 0 1",
                ".model SWL SW(VT=0.5 VH=0.1 RON=0.01 ROFF=1e12)"]  # fmt: skip
    d.switches()
    d.relays()
    d.modules()
    d.branches()
    d.lines += [f"Rp{k}{e} {node(net, n)} 0 {PROBE_OHM!r}" for k, w in enumerate(watch)
                for e, n in (("a", w.a), ("b", w.b)) if n >= 0 and n != net.static.ground]  # fmt: skip
    d.lines += [f"RL{n} n{n} 0 1e9" for n in range(net.static.nodes) if n != net.static.ground]
    shown = [f"v({node(net, w.a)},{node(net, w.b)})" if w.b >= 0 and w.b != net.static.ground
             else f"v({node(net, w.a)})" if w.branch < 0 else f"i(Vb{w.branch})" for w in watch]  # fmt: skip
    total = float(np.sum([s for _, s in story]))
    names = [f"ch{k}" for k in range(len(watch))]
    lets = [f"let {n} = {text}" for n, text in zip(names, shown, strict=True)]
    return "\n".join([
        *d.lines, LOOSE.replace(".options", f".options {TOLERANCES}"),
        f".tran {step_s!r} {total!r} 0 {step_s!r}", ".control", "set wr_singlescale", "set wr_vecnames",
        "set numdgt=9", "run", *lets, f"linearize {' '.join(names)}", f"wrdata scope.txt {' '.join(names)}",
        "quit 0", ".endc", ".end", "",
    ])  # fmt: skip


def watched(net: Network, name: str, a: Term, b: Term | None = None, amps: bool = False) -> Watch:
    """A channel by the sheet's terminals."""
    if amps:
        return Watch(name, branch=net.branch(a if a.name else a.part))
    return Watch(name, net.node(a), net.node(b) if b is not None else -1)


def whole_cycle(net: Network, most_s: float = 3.0) -> Story:
    """A drive from asleep to asleep: every phase of the sheet, none longer than `most_s`, and at the end as
    long as modules hold."""
    held = max((float(x) for x in net.static.hold_s), default=0.0)
    asleep = [k for k, p in enumerate(net.phases) if p.base == "asleep"]
    first = [(asleep[0], most_s / 2)] if asleep else []
    driven = [(k, min(float(net.static.duration[k]), most_s)) for k, p in enumerate(net.phases)
              if k not in asleep]  # fmt: skip
    return [*first, *driven, *((k, held + most_s) for k in asleep[:1])]


def of_circuit(net: Network, lane: Lane) -> str:
    """The deck of a whole drive with every channel a scope would be clipped to: battery, its cable, the pins
    of every relay, every point of the sheet."""
    c = net.circuit
    found: dict[str, Watch] = {}
    for part in c.parts:
        if part.kind == "battery":
            found.setdefault(f"{part.name}.+", watched(net, f"{part.name}.+", Term(part.name, "+")))
            found.setdefault(part.name, watched(net, part.name, Term(part.name, ""), amps=True))
        for pin in ("86", "85", "87") if part.kind == "relay" else ():
            if (key(part.name), pin) in net.node_index:
                found[f"{part.name}.{pin}"] = watched(net, f"{part.name}.{pin}", Term(part.name, pin))
    for p in c.points:
        if p.what != "ohms":
            found[p.name] = watched(net, p.name, p.a, p.b, p.what == "amps")
    story = whole_cycle(net)
    step_s = max(1e-3, sum(s for _, s in story) / MOST_ROWS)
    made = transient(net, lane, story, tuple(found.values()), step_s)
    remarks = [f"* ch{k} = {name}" for k, name in enumerate(found)]
    first, _, rest = made.partition("\n")
    return "\n".join([first, *remarks, rest])
