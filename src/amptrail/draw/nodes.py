"""From a circuit to nodes and pins: which symbol, which terminal on which side, which words."""

from __future__ import annotations

from amptrail.circuit.model import Circuit, Driver, Input, Part, Reference, key
from amptrail.draw import labels
from amptrail.draw.currents import TWO_ENDED, Currents
from amptrail.draw.graph import PIN_PX, Graph, Node, Pin, up_to_grid
from amptrail.draw.terminals import ground_net, roles
from amptrail.draw.text import DETAIL_PX, LINE_PX, broken, width

CONTACT_DX = 80  # from a relay's coil to its contact
NEVER = ("do not", "probe")
GLYPH = 10  # room for the mark of a module pin
TALL = {"battery": 40, "cavity": 24, "joint": 20, "relay": 64, "starter": 104, "alternator": 56, "pot": 56}


class _Builder(Currents):
    """Builds one node for every part and cavity."""

    def __init__(self, circuit: Circuit, feed: frozenset[str] = frozenset()) -> None:
        super().__init__(circuit, feed)
        self.roles = roles(circuit)
        self.cautions = labels.cautions(circuit)
        self.never = {self.net(n.at.part, n.at.name) for n in circuit.never_probe if n.at.name}
        self.order: dict[str, int] = {}
        for path in circuit.paths:
            for hop in path.hops:
                name = f"{hop.part}.{hop.a.split('.')[0]}"
                self.order.setdefault(key(hop.part), len(self.order))
                self.order.setdefault(key(name), len(self.order))

    # ---- one method per kind of symbol --------------------------------------------------------------
    def pin(self, part: str, terminal: str, dx: int = 0) -> Pin:
        net = self.net(part, terminal)
        return Pin(terminal, net, dx, never=net in self.never)

    def upper(self, a: Pin, b: Pin) -> bool:
        return self.high(a.net) >= self.high(b.net)

    def node(self, shape: str, part: Part, name: str | None = None) -> Node:
        label = labels.part_label(part, self.cautions.get(key(part.name), []))
        n = Node(shape, name or part.name, label, covers=(part.name,), about=labels.about(part))
        n.order = self.order.get(key(part.name), len(self.order))
        return n

    def two_ended(self, part: Part) -> Node:
        n = self.node(part.kind, part)
        a, b = self.pin(part.name, "in"), self.pin(part.name, "out")
        n.flipped = not self.upper(a, b)
        n.tops, n.bottoms = ([b], [a]) if n.flipped else ([a], [b])
        beside(n, 6 if part.kind == "wire" else 8 if part.kind == "joint" else 20)
        if part.kind == "wire":
            n.left, n.height = 8, max(24, len(n.label) * LINE_PX + 4)
        return n

    def battery(self, part: Part) -> Node:
        n = self.node("battery", part)
        n.tops, n.bottoms = [self.pin(part.name, "+")], [self.pin(part.name, "-")]
        beside(n, 20)
        return n

    def cavity(self, connector: str, name: str, place: str | None) -> Node:
        full = f"{connector}.{name}"
        lines = tuple(labels.cavity_label(connector, name))
        n = Node(
            "cavity", full, lines, covers=(full,), about=f"cavity {full}" + (f", {place}" if place else "")
        )
        n.order = self.order.get(key(full), len(self.order))
        a, b = self.pin(connector, f"{name}.a"), self.pin(connector, f"{name}.b")
        n.flipped = not self.upper(a, b)
        n.tops, n.bottoms = ([b], [a]) if n.flipped else ([a], [b])
        beside(n, 10)
        n.left = 16
        return n

    def relay(self, part: Part) -> Node:
        n = self.node("relay", part)
        n.covers = (part.name, f"{part.name}.coil", f"{part.name}.87", f"{part.name}.87a")
        wired = {key(t) for t in self.wired(part)}
        if wired & {"85", "86"}:
            a, b = self.pin(part.name, "86"), self.pin(part.name, "85")
            for p, side in zip((a, b) if self.upper(a, b) else (b, a), (n.tops, n.bottoms), strict=True):
                side.append(p)
        throws = [t for t in ("87a", "87") if t in wired]
        if throws or "30" in wired:
            middle = CONTACT_DX + (CONTACT_DX // 2 if len(throws) > 1 else 0)  # a multiple of GRID
            common = self.pin(part.name, "30", middle)
            ends = [self.pin(part.name, t, CONTACT_DX * (1 + i)) for i, t in enumerate(throws)]
            up = not ends or max(self.high(e.net) for e in ends) <= self.high(common.net)
            (n.tops if up else n.bottoms).append(common)
            (n.bottoms if up else n.tops).extend(ends)
        beside(n, max((p.dx for p in n.pins()), default=0) + 28)
        return n

    def fixed(self, part: Part, tops: tuple[str, ...], bottoms: tuple[str, ...], step: int) -> Node:
        """A symbol whose terminals have their places: alternator, starter."""
        n = self.node(part.kind, part)
        wired = {key(t) for t in self.wired(part)}
        n.tops = [self.pin(part.name, t, i * step) for i, t in enumerate(tops) if key(t) in wired]
        n.bottoms = [self.pin(part.name, t, i * step) for i, t in enumerate(bottoms) if key(t) in wired]
        beside(n, max((p.dx for p in n.pins()), default=0) + 28)
        return n

    def pot(self, part: Part) -> Node:
        n = self.node("pot", part)
        a, b, wiper = (self.pin(part.name, t, dx) for t, dx in (("1", 0), ("3", 0), ("2", CONTACT_DX)))
        n.flipped = not self.upper(a, b)
        n.tops, n.bottoms = ([b], [a]) if n.flipped else ([a], [b])
        if "2" in self.wired(part):
            joined = self.joined(wiper.net, part.name)
            falls = joined and all(self.high(other) < self.high(wiper.net) for other in joined)
            (n.bottoms if falls else n.tops).append(wiper)
        beside(n, 28 + (CONTACT_DX if "2" in self.wired(part) else 0))
        return n

    def bar(self, part: Part) -> Node:
        """A splice or ground: legs on a bar."""
        n = self.node(part.kind, part)
        n.stretches = True
        legs = [self.pin(part.name, t) for t in self.wired(part) if t]
        n.covers = (part.name, *(f"{part.name}.{p.terminal}" for p in legs))
        hub = self.high(self.net(part.name, ""))
        bolted = ground_net(self.circuit, self.metals, part) if part.kind == "ground" else -1
        if part.kind == "ground":
            n.tops = legs
            if bolted == self.metals.body:
                n.lowest = True
            else:
                n.bottoms = [Pin("", bolted)]
        else:
            n.tops = [p for p in legs if self.high(p.net) > hub]
            n.bottoms = [p for p in legs if self.high(p.net) <= hub]
        n.left, n.beside = 16, 14 if part.kind == "ground" else 8
        n.right = up_to_grid(labels.label_px(n.label))
        n.height = 20 if part.kind == "splice" else 44
        n.height = max(n.height, len(n.label) * LINE_PX + 4)
        for p in n.pins():
            p.left, p.right = 16, 16
        return n

    def box(self, part: Part, tops: list[Pin], bottoms: list[Pin]) -> Node:
        """A box whose pins may move apart: module, switch with positions, anything else."""
        n = self.node("box", part)
        n.stretches = True
        n.tops, n.bottoms = tops, bottoms
        for p in n.pins():
            widest = max((width(w, DETAIL_PX) for w in p.words), default=0.0)
            half = max(PIN_PX // 2, up_to_grid(widest / 2 + 5))
            p.left, p.right = half, half
        n.left = n.right = 8
        spans = [sum(p.left + p.right for p in row) for row in (tops, bottoms)]
        inner = up_to_grid(labels.label_px(n.label) + 16)
        n.right = max(8, inner - max(spans) + 8)
        rows = [max((len(p.words) for p in row), default=0) for row in (tops, bottoms)]
        n.height = 12 + 2 * GLYPH + (sum(rows) + len(n.label)) * LINE_PX + 16
        return n

    def module(self, part: Part) -> Node:
        tops: list[Pin] = []
        bottoms: list[Pin] = []
        says: dict[str, list[str]] = {}
        for line in self.circuit.modules:
            if isinstance(line, (Driver, Input, Reference)) and key(line.module) == key(part.name):
                says.setdefault(key(line.pin), []).append(line.name)
        for t in self.wired(part):
            role = self.roles.get((key(part.name), key(t)), [])
            p = self.pin(part.name, t)
            more = [s for s in says.get(key(t), []) if key(s) != key(t)]
            p.words = (*broken(t, DETAIL_PX, 72, 1), *broken(" ".join(more), DETAIL_PX, 72, 1))
            if p.never:
                p.words = (*p.words, *NEVER)
                self.never.discard(p.net)  # said once for each metal
            p.also = tuple(says.get(key(t), ()))
            p.glyph = next((r for r in ("low", "high", "half", "input", "reference", "bus") if r in role), "")
            up = "supply" in role or (
                not {"ground", "high", "reference"} & set(role) and self.fed(p.net, part.name)
            )
            (tops if up else bottoms).append(p)
        n = self.box(part, tops, bottoms)
        n.covers = (part.name, *(f"{part.name}.{p.terminal}" for p in n.pins()),
                    *(f"{part.name}.{s}" for x in says.values() for s in x))  # fmt: skip
        return n

    def key_switch(self, part: Part) -> Node:
        """A switch with positions: the common terminal of each pole on one side, its throws on the other."""
        degree: dict[str, int] = {}
        for c in part.contacts:
            for t in (c.a, c.b):
                degree[t] = degree.get(t, 0) + 1
        up: dict[str, bool] = {}
        contacts: list[tuple[str, str, str]] = []
        for c in part.contacts:
            common, throw = (c.a, c.b) if degree[c.a] >= degree[c.b] else (c.b, c.a)
            above = self.high(self.net(part.name, common)) >= self.high(self.net(part.name, throw))
            up.setdefault(common, above)
            up.setdefault(throw, not up[common])
            contacts.append((common, throw, " ".join(c.at)))
        tops: list[Pin] = []
        bottoms: list[Pin] = []
        for t in self.wired(part):
            p = self.pin(part.name, t)
            at = [when for _, throw, when in contacts if throw == t]
            p.words = (*broken(t, DETAIL_PX, 72, 1), *broken(" ".join(at), DETAIL_PX, 72, 2))
            (tops if up.get(t, True) else bottoms).append(p)
        n = self.box(part, tops, bottoms)
        for p in n.pins():  # words stand right of the lead
            p.left, p.right = 24, up_to_grid(max((width(w, DETAIL_PX) for w in p.words), default=0.0) + 10)
        n.shape, n.contacts = "selector", tuple(contacts)
        n.beside = 8  # right of the box
        n.right = up_to_grid(n.beside + labels.label_px(n.label))
        lines = sum(max((len(p.words) for p in row), default=0) for row in (tops, bottoms))
        poles = len({common for common, _, _ in contacts})
        n.height = max(lines * LINE_PX + 60 + 5 * poles, len(n.label) * LINE_PX + 16)
        return n

    def generic(self, part: Part) -> Node:
        """A part with terminals no symbol foresees: a box, the higher nets above."""
        pins = [self.pin(part.name, t) for t in self.wired(part)]
        for p in pins:
            p.words = tuple(broken(p.terminal, DETAIL_PX, 72, 1))
        level = sum(self.high(p.net) for p in pins) / max(1, len(pins))
        tops = [p for p in pins if self.high(p.net) >= level]
        return self.box(part, tops, [p for p in pins if p not in tops])

    def build_part(self, part: Part) -> Node | None:
        kind, wired = part.kind, set(self.wired(part))
        if kind == "battery":
            return self.battery(part)
        if kind in ("connector", "box") or not wired:
            return None
        if kind == "relay":
            return self.relay(part)
        if kind == "alternator":
            return self.fixed(part, ("B+", "D+"), ("31",), CONTACT_DX)
        if kind == "starter":
            return self.fixed(part, ("30", "50"), ("31", "M"), CONTACT_DX)
        if kind == "module":
            return self.module(part)
        if kind in ("splice", "ground"):
            return self.bar(part)
        if kind == "switch" and part.contacts:
            return self.key_switch(part)
        if kind == "pot" and wired <= {"1", "2", "3"}:
            return self.pot(part)
        if kind in TWO_ENDED and wired <= {"in", "out"}:
            return self.two_ended(part)
        return self.generic(part)


def beside(node: Node, at: int) -> None:
    """Room for the label to the right of the symbol, which ends `at` px right of the anchor."""
    node.left, node.beside = 24, at
    node.right = up_to_grid(at + labels.label_px(node.label))
    node.height = max(TALL.get(node.shape, 48), len(node.label) * LINE_PX + 4)


def graph(circuit: Circuit, feed: frozenset[str] = frozenset()) -> tuple[Graph, list[float]]:
    """Nodes and nets of the circuit, and the height of each net (`levels.heights`). `feed` names the parts of
    a temporary feed."""
    b = _Builder(circuit, feed)
    nodes = [n for part in circuit.parts if (n := b.build_part(part)) is not None]
    places = {key(p.name): p.place for p in circuit.parts}
    nodes += [b.cavity(c.connector, c.name, places.get(key(c.connector))) for c in circuit.cavities]
    nodes.sort(key=lambda n: n.order)
    for n in nodes:  # what must not be probed and has no module pin to say so
        for p in n.pins():
            if p.net in b.never and not n.stretches:
                b.never.discard(p.net)
                n.label = (*n.label, f"{p.terminal[:6]}: {NEVER[0]}", NEVER[1])
                n.right = max(n.right, up_to_grid(n.beside + labels.label_px(n.label)))
                n.height = max(n.height, len(n.label) * LINE_PX + 4)
    height = list(b.height)
    for n in list(nodes):
        for p in n.pins():
            if (
                p.net == b.metals.body
            ):  # every joint to the metal has its own symbol: no line along the bottom
                p.net = b.metals.more(b.metals.names[b.metals.body])
                height.append(0.0)
                foot = Node("body", "", ("body",), [Pin("", p.net)], lowest=True, height=32, left=16)
                foot.beside = 14
                foot.right, foot.order = 16 + labels.label_px(foot.label), n.order
                nodes.append(foot)
    for _ in range(len(b.metals.names) - len(height)):
        height.append(0.0)
    return Graph(tuple(nodes), tuple(b.metals.names)), height
