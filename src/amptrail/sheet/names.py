"""Looking up what a sheet line names: parts, terminals, cavities, nets; every miss has a remedy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lark import Token

from amptrail.circuit.model import BODY, Circuit, Driver, Input, ModuleLine, Part, Point, Term, key
from amptrail.errors import InputError, Problem, likest, nearest

Node = Any  # a lark Tree whose children are trees or tokens, told apart by the rule that made it
TWO_ENDED = frozenset(
    {"wire", "fuse", "link", "polyfuse", "joint", "switch", "resistor", "lamp", "led", "diode", "motor",
     "solenoid", "heater", "ptc", "sensor", "load", "pot"}
)  # fmt: skip
HUBS = frozenset({"splice", "ground"})
CAVITIED = frozenset({"connector", "box"})
TERMINALS: dict[str, tuple[str, ...]] = {
    "battery": ("+", "-"), "relay": ("30", "85", "86", "87", "87a"), "starter": ("50", "30", "31", "M"),
    "alternator": ("B+", "D+", "31"), "pot": ("1", "2", "3", "in", "out"),
    "sensor": ("1", "2", "3", "in", "out"),
}  # fmt: skip
# What lies inside a part: blamed by faults and read by a clamp, but no metal a path can join.
BRANCHES: dict[str, tuple[str, ...]] = {
    "relay": ("coil",), "starter": ("contact", "coil", "pull"), "alternator": ("field",),
}  # fmt: skip
_SPANS = {("30", "87"): "87", ("30", "87a"): "87a", ("86", "85"): "coil"}


MOST_NAMED = 12  # of the known names in an error


def wrong(
    at: Token | None, code: str, message: str, *, known: Sequence[str] = (), remedy: str = "", line: int = 1
) -> InputError:
    """An error at a token, with the nearest of the known names."""
    near = nearest(str(at), known) if at is not None and known else None
    column = at.column or 0 if at is not None else 1
    named = likest(str(at), known, MOST_NAMED) if at is not None else tuple(known)[:MOST_NAMED]
    return InputError((Problem(code, message, line, column, "error", named, near, remedy),))


class Names:
    """The names known so far; grows while a sheet is read."""

    def __init__(self, circuit: Circuit | None = None) -> None:
        self.parts: dict[str, Part] = {}
        self.spoilt: set[str] = set()  # named on a part line that could not be read
        self.declared: dict[str, int] = {}  # the line that declares a part, above or below where it is named
        self.nets: dict[str, str] = {key("body"): "body"}
        self.cavities: dict[tuple[str, str], str] = {}
        self.legs: dict[str, int] = {}
        self.pins: dict[str, dict[str, str]] = {}
        self.drivers: dict[str, dict[str, str]] = {}
        self.driver_pins: dict[tuple[str, str], list[str]] = {}
        self.inputs: dict[tuple[str, str], str] = {}
        self.points: dict[str, Term] = {}
        self.contacts: dict[str, dict[str, str]] = {}
        self.remedy = "declare it on a line above, such as: joint {}"
        if circuit is not None:  # the sheet is read: what is named now must be in it
            self.remedy = "use a name of the sheet, or add {} to it"
            self._learn(circuit)

    def _learn(self, circuit: Circuit) -> None:
        for part in circuit.parts:
            self.add_part(part)
        for cavity in circuit.cavities:
            self.cavities[key(cavity.connector), key(cavity.name)] = cavity.name
        for net in circuit.nets:
            self.nets[key(net.name)] = net.name
            for t in net.terms:
                if t.part:
                    self.note(t.part, t.name)
        for path in circuit.paths:
            for hop in path.hops:
                for name in (hop.a, hop.b):
                    self.note(hop.part, name)
        for line in circuit.modules:
            if pin := getattr(line, "pin", None):
                self.note(line.module, pin)
            self.learn_line(line)
        for point in circuit.points:
            self.points[key(point.name)] = point.a

    def learn_line(self, line: ModuleLine) -> None:
        """Remember what a module's drivers and inputs are called, and on which pin they sit."""
        if isinstance(line, Driver):
            self.drivers.setdefault(key(line.module), {})[key(line.name)] = line.name
            self.driver_pins.setdefault((key(line.module), key(line.pin)), []).append(line.name)
        elif isinstance(line, Input):
            self.inputs[key(line.module), key(line.name)] = line.pin

    def add_part(self, part: Part) -> None:
        """Make a part known, with the terminals its contacts name."""
        self.parts[key(part.name)] = part
        for contact in part.contacts:
            for name in (contact.a, contact.b):
                self.contacts.setdefault(key(part.name), {})[key(name)] = name

    def note(self, part: str, terminal: str) -> None:
        """Remember a terminal that a path, a net or a module line has used."""
        self.pins.setdefault(key(part), {}).setdefault(key(terminal), terminal)
        if terminal.isdigit():
            self.legs[key(part)] = max(self.legs.get(key(part), 0), int(terminal))

    def part(self, token: Token) -> Part:
        """The declared part of this name."""
        found = self.parts.get(key(str(token)))
        if found is None and key(str(token)) in self.spoilt:
            raise InputError(())  # its own line has been told; this one may be right
        if found is None and (below := self.declared.get(key(str(token)))):
            raise wrong(token, "unknown-part", f"no part is called {token} so far",
                        remedy=f"move line {below}, which declares it, above this one")  # fmt: skip
        if found is None:
            raise wrong(
                token,
                "unknown-part",
                f"no part is called {token}",
                known=[p.name for p in self.parts.values()],
                remedy=self.remedy.format(token),
            )
        return found

    def terminal(self, part: Part, token: Token, *, strict: bool = False) -> str:
        """The terminal as the model spells it."""
        text = str(token)
        if part.kind == "switch" and key(part.name) in self.contacts:
            pairs = tuple(f"{c.a}-{c.b}" for c in part.contacts)
            return self._among(part, token, (*self.contacts[key(part.name)].values(), *pairs), strict=True)
        if part.kind in TWO_ENDED and part.kind not in TERMINALS:
            text = {"+": "in", "-": "out", "a": "in", "k": "out"}.get(text.lower(), text)
            if part.kind == "switch" and part.said("positions"):
                return text
            return self._among(part, Token.new_borrow_pos("TERM", text, token), ("in", "out"), strict=True)
        if part.kind in TERMINALS:
            inside = BRANCHES.get(part.kind, ())
            return self._among(part, token, (*TERMINALS[part.kind], *inside), strict=True)
        known = tuple(self.pins.get(key(part.name), {}).values())
        return self._among(part, token, known, strict=strict)

    def metal(self, part: Part, token: Token, *, strict: bool = False) -> str:
        """The terminal a path or a net joins; a branch inside the part is refused."""
        name = self.terminal(part, token, strict=strict)
        if name in BRANCHES.get(part.kind, ()) or name in {f"{c.a}-{c.b}" for c in part.contacts}:
            known = tuple(self.contacts.get(key(part.name), {}).values()) or TERMINALS.get(part.kind, ())
            raise wrong(token, "not-a-terminal", f"{part.name}.{name} lies inside {part.name}", known=known,
                        remedy=f"join a terminal: {', '.join(known)}")  # fmt: skip
        return name

    def branch(self, part: Part, a: Token, b: Token) -> str:
        """The branch between two terminals: `KEY.30-15` or `K4.30-87` a contact, `K4.86-85` the coil."""
        pair = {key(str(a)), key(str(b))}
        for c in part.contacts:
            if pair == {key(c.a), key(c.b)}:
                return f"{c.a}-{c.b}"
        for ends, name in _SPANS.items() if part.kind == "relay" else ():
            if pair == set(ends):
                return name
        inside = (*(f"{c.a}-{c.b}" for c in part.contacts), *BRANCHES.get(part.kind, ()))
        raise wrong(a, "unknown-branch", f"{part.kind} {part.name} has nothing between {a} and {b}",
                    known=inside, remedy="name one terminal, or a branch of the part")  # fmt: skip

    def _among(self, part: Part, token: Token, known: tuple[str, ...], *, strict: bool) -> str:
        for name in known:
            if key(name) == key(str(token)):
                return name
        if strict:
            raise wrong(
                token,
                "unknown-terminal",
                f"{part.kind} {part.name} has no terminal {token}",
                known=known,
                remedy=f"use one of: {', '.join(known) or 'none known yet'}",
            )
        return str(token)

    def cavity(self, part: Part, token: Token) -> str:
        """The spelling of a cavity, as first mentioned."""
        return self.cavities.get((key(part.name), key(str(token))), str(token))

    def cavity_side(self, part: Part, cavity: Token, side: Token | None, *, strict: bool = False) -> str:
        """`4.a`: side a when no side is said."""
        known = tuple(c for (p, _), c in self.cavities.items() if p == key(part.name))
        if strict and key(str(cavity)) not in {key(c) for c in known}:
            raise wrong(cavity, "unknown-terminal", f"{part.kind} {part.name} has no cavity {cavity}",
                        known=known, remedy=f"use one of: {', '.join(known) or 'none'}")  # fmt: skip
        letter = str(side).lower() if side is not None else "a"
        if letter not in ("a", "b"):
            raise wrong(
                side,
                "unknown-side",
                f"a cavity has sides a and b, not {side}",
                known=("a", "b"),
                remedy="write .a for the side that came first in its path, .b for the other",
            )
        return f"{self.cavity(part, cavity)}.{letter}"

    def bare(self, token: Token, *, part_first: bool = False) -> Term:
        """A name alone: a net, the body, a part itself (terminal "") or a named point, in this order;
        where a branch is meant (a clamp, a fault in a part) the part comes first."""
        folded = key(str(token))
        if part_first and folded in self.parts:
            return Term(self.parts[folded].name, "")
        if folded in self.nets:
            return Term("", self.nets[folded])
        if folded in self.parts:
            return Term(self.parts[folded].name, "")
        if folded in self.points:
            return self.points[folded]
        head, dot, end = str(token).rpartition(".")
        if dot and key(head) in self.parts:  # the end of a run between two terminals, as it is shown
            part = self.parts[key(head)]
            return Term(part.name, self.terminal(part, Token.new_borrow_pos("TERM", end, token), strict=True))
        if folded in self.spoilt:
            raise InputError(())
        known = [*self.nets.values(), *(p.name for p in self.parts.values())]
        raise wrong(
            token,
            "unknown-point",
            f"nothing is called {token}",
            known=known,
            remedy="write PART.TERMINAL, or the name of a net",
        )


def function_points(circuit: Circuit) -> dict[str, Point]:
    """Functions whose volts a `must` line tells, as points to read, by folded name; what is called like a
    part, a net or a point means that."""
    known = Names(circuit)
    taken = {*known.parts, *known.nets, *known.points}
    return {
        key(m.name): Point(m.name, "volts", m.a, m.b)
        for m in circuit.musts
        if m.a is not None and key(m.name) not in taken
    }


__all__ = [
    "BODY",
    "BRANCHES",
    "CAVITIED",
    "HUBS",
    "TERMINALS",
    "TWO_ENDED",
    "Names",
    "function_points",
    "wrong",
]
