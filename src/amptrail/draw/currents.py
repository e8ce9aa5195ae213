"""Where currents can go in a circuit: which nets a part joins, how high each net stands, what feeds it."""

from __future__ import annotations

from amptrail.circuit.model import Circuit, GroundPin, Input, Part, Supply, Term, key
from amptrail.draw.levels import heights
from amptrail.draw.terminals import Metals, ground_net, mentioned, module_pairs, pairs_of, steps

LIGHT = 1e6  # size of what should not weigh
TWO_ENDED = frozenset(
    ("wire", "fuse", "link", "polyfuse", "joint", "switch", "resistor", "lamp", "led", "diode", "motor",
     "solenoid", "heater", "ptc", "sensor", "load")
)  # fmt: skip


class Currents:
    """Nets, their heights (1 at the supply, 0 at the ground) and the parts that join them.

    `feed` names the parts of a temporary feed: they change no height, so the rest stays where it was.
    """

    def __init__(self, circuit: Circuit, feed: frozenset[str] = frozenset()) -> None:
        self.circuit = circuit
        self.light = {key(p) for p in feed}
        self.terminals = mentioned(circuit)
        self.metals = Metals(circuit)
        self.of_module = module_pairs(circuit)
        self.pairs: list[tuple[int, int, str, float]] = []  # nets joined inside a part, its name, the fall
        self.sources: list[tuple[int, int]] = []
        self._inside()
        self._links: dict[int, list[tuple[int, str]]] = {}
        for a, b, name, _ in self.pairs:
            self._links.setdefault(a, []).append((b, name))
            self._links.setdefault(b, []).append((a, name))
        self.height = self._heights()

    def _heights(self) -> list[float]:
        """Heights of all nets, bent where the eye expects it: a battery's minus stands a little above the
        body, so that its cable hangs down, and what only a module's input joins hangs from the module."""
        sources = [(plus, minus, 1.0) for plus, minus in self.sources]
        falls = {(a, b): fall for a, b, _, fall in self.pairs}
        sources += [
            (minus, self.metals.body, 0.02) for _, minus in self.sources if self._returns(minus, falls)
        ]
        pairs = [(a, b, LIGHT if key(name) in self.light else fall) for a, b, name, fall in self.pairs]
        for line in self.circuit.modules:
            if isinstance(line, Input) and not self.fed(self.net(line.module, line.pin), line.module):
                supplies = (x for x in self.circuit.modules if isinstance(x, Supply))
                for supply in (x for x in supplies if key(x.module) == key(line.module)):
                    pairs.append((self.net(line.module, supply.pin), self.net(line.module, line.pin), 1.0))
        return heights(len(self.metals.names), pairs, sources, self.metals.body)

    def _returns(self, minus: int, falls: dict[tuple[int, int], float]) -> bool:
        """Does this minus reach the body through conductors alone, not past another battery's plus?"""
        closed = {plus for plus, _ in self.sources}
        seen, stack = {minus}, [minus]
        while stack:
            here = stack.pop()
            if here == self.metals.body:
                return True
            for other, _ in self._links.get(here, ()):
                fall = falls.get((here, other), falls.get((other, here), 1.0))
                if fall <= 1.0 and other not in seen and other not in closed:
                    seen.add(other)
                    stack.append(other)
        return False

    def net(self, part: str, terminal: str) -> int:
        """The net of a terminal."""
        return self.metals.of(Term(part, terminal))

    def wired(self, part: Part) -> list[str]:
        """Terminals of a part that a path or net names."""
        return self.terminals.get(key(part.name), [])

    def _inside(self) -> None:
        for part in self.circuit.parts:
            wired = self.wired(part)
            if part.kind == "battery":
                self.sources.append((self.net(part.name, "+"), self.net(part.name, "-")))
            elif part.kind in ("splice", "ground"):
                hub = self.net(part.name, "")
                self.pairs += [(self.net(part.name, t), hub, part.name, 1.0) for t in wired if t]
                if part.kind == "ground":
                    self.pairs.append((hub, ground_net(self.circuit, self.metals, part), part.name, 1.0))
            elif part.kind in TWO_ENDED and not part.contacts and set(wired) <= {"in", "out"}:
                ends = self.net(part.name, "in"), self.net(part.name, "out")
                self.pairs.append((*ends, part.name, steps(part, "in")))
            elif part.kind not in ("connector", "box"):
                for upper, lower, fall in pairs_of(part, wired, self.of_module):
                    nets = self.net(part.name, upper), self.net(part.name, lower)
                    self.pairs.append((*nets, part.name, fall))
                for t in wired:
                    self.net(part.name, t)
        for c in self.circuit.cavities:
            a, b = self.net(c.connector, f"{c.name}.a"), self.net(c.connector, f"{c.name}.b")
            self.pairs.append((a, b, f"{c.connector}.{c.name}", 1.0))

    def fed(self, net: int, without: str) -> bool:
        """Does a battery's plus reach the net without passing this part or any ground?"""
        goals = {plus for plus, _ in self.sources}
        grounds = [self.net(p.name, "") for p in self.circuit.parts if p.kind == "ground"]
        grounds += [self.net(x.module, x.pin) for x in self.circuit.modules if isinstance(x, GroundPin)]
        closed = {self.metals.body, *grounds, *(minus for _, minus in self.sources)} - goals
        seen, stack = {net}, [net]
        while stack:
            n = stack.pop()
            if n in goals:
                return True
            for other, name in self._links.get(n, ()):
                if name != without and other not in seen and other not in closed:
                    seen.add(other)
                    stack.append(other)
        return False

    def high(self, net: int) -> float:
        """Height of a net; one that joins nothing stands at 0."""
        return self.height[net] if net < len(self.height) else 0.0

    def joined(self, net: int, without: str) -> list[int]:
        """Nets that parts other than this one join to a net."""
        return [other for other, name in self._links.get(net, ()) if name != without]
