"""What is laid over a drawing: readings, a trail, a feed, faults. Data in, words beside symbols out.

Everything laid over is put into the nodes before they are laid out, so that it has room like any other word.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from amptrail.circuit.model import Term, key
from amptrail.draw import labels
from amptrail.draw.graph import Graph, Node, Pin, up_to_grid
from amptrail.draw.nodes import beside
from amptrail.draw.text import DETAIL_PX, LINE_PX, broken, width

CHIP_DX = 5  # from a line to what is read on it


@dataclass(frozen=True, slots=True)
class Overlay:
    """What stands where.

    `readings`: (metal by its canonical terminal, words such as `11.9 V`). `amps`: (branch, words, True where
    they flow from `in` to `out`), shown at parts with two ends. `trail`: branches a current passes; all else
    fades. `feed`: parts of a temporary feed, `feed_name` what it is called, `cuts` what it opens. `faults`:
    (where, words). `closed`: contacts closed now (`K4.87`, `CLUTCH`, `KEY.30-15`); a relay not in it is at
    rest. `notes`: (part, words), such as a module that is awake. `only`: what the trail does not pass is left
    out, for a narrow screen.
    """

    readings: tuple[tuple[str, str], ...] = ()
    amps: tuple[tuple[str, str, bool], ...] = ()
    trail: frozenset[str] | None = None
    feed: frozenset[str] = frozenset()
    feed_name: str = ""
    cuts: frozenset[str] = frozenset()
    faults: tuple[tuple[Term, str], ...] = ()
    closed: frozenset[str] = frozenset()
    notes: tuple[tuple[str, str], ...] = ()
    only: bool = False


PLAIN = Overlay()


def _put_label(node: Node, lines: Iterable[str]) -> None:
    node.label = (*node.label, *lines)
    node.right = max(node.right, up_to_grid(node.beside + labels.label_px(node.label)))
    if node.shape in ("box", "selector"):
        node.height += LINE_PX * len(list(lines))
    else:
        node.height = max(node.height, len(node.label) * LINE_PX + 4 + node.above + node.below)


def _carriers(graph: Graph) -> dict[str, tuple[Node, Pin, bool]]:
    """Where each metal's reading is written: below what feeds it, else above what it feeds."""
    best: dict[str, tuple[int, Node, Pin, bool]] = {}
    for node in graph.nodes:
        for low, pins in ((False, node.tops), (True, node.bottoms)):
            for pin in pins:
                rank = (0 if low else 1) + (2 if node.stretches or len(pins) > 1 else 0)
                name = graph.metals[pin.net]
                if name not in best or rank < best[name][0]:
                    best[name] = (rank, node, pin, low)
    return {name: (node, pin, low) for name, (_, node, pin, low) in best.items()}


def _put_chip(node: Node, pin: Pin, low: bool, words: str) -> None:
    pin.chip = broken(words, DETAIL_PX, 88, 1)[0] if words else ""
    need = up_to_grid(CHIP_DX + width(pin.chip, DETAIL_PX) + 3)
    if node.stretches:
        pin.right = max(pin.right, need)
    else:
        node.right = max(node.right, pin.dx + need)
    if low and not node.below:
        node.below = LINE_PX
        node.height += LINE_PX
    if not low and not node.above:
        node.above = LINE_PX
        node.height += LINE_PX


def node_of(graph: Graph, where: Term) -> Node | None:
    """The node a part, branch, cavity or cavity side belongs to."""
    name = f"{where.part}.{where.name}" if where.name else where.part
    while name:
        for node in graph.nodes:
            if key(name) in (key(c) for c in node.covers):
                return node
        name = name.rpartition(".")[0]
    return None


def put(graph: Graph, overlay: Overlay) -> None:
    """Write the overlay into the nodes of the graph."""
    fed = {key(p) for p in overlay.feed}
    cut = {key(p) for p in overlay.cuts}
    named = False
    for node in graph.nodes:
        own = {key(c) for c in node.covers}
        node.fed = bool(own & fed)
        if node.fed and not named and overlay.feed_name:
            named = True
            _put_label(node, broken("feed" if overlay.feed_name == "feed" else f"feed {overlay.feed_name}"))
        if own & cut:
            node.cut = True
            _put_label(node, ("cut",))
    closed = {key(b) for b in overlay.closed}
    for node in graph.nodes:
        name = key(node.name)
        node.closed = frozenset(b[len(name) + 1 :] for b in closed if b == name or b.startswith(f"{name}."))
    for part, words in overlay.notes:
        noted = node_of(graph, Term(part, ""))
        if noted is not None:
            _put_label(noted, broken(words))
    two_ended = {key(n.covers[0]): n for n in graph.nodes if len(n.covers) == 1}
    for branch, words, forward in overlay.amps:
        carrier = two_ended.get(key(branch))
        if carrier is not None:
            arrow = "▼ " if forward != carrier.flipped else "▲ "
            _put_label(carrier, broken(words if words.startswith("0 ") else arrow + words))
    for where, words in overlay.faults:
        hit = node_of(graph, where)
        if hit is not None:
            hit.fault = True
            hit.left = max(hit.left, 40)
            _put_label(hit, broken(words, lines=4))
    carriers = _carriers(graph)
    for metal, words in overlay.readings:
        if metal in carriers:
            _put_chip(*carriers[metal], words)


def lit(node: Node, pin: Pin, trail: frozenset[str]) -> bool:
    """Does the trail pass this pin? `trail` holds branch names by key."""
    name, t = key(node.name), key(pin.terminal)
    if node.shape == "relay":
        if t in ("85", "86"):
            return f"{name}.coil" in trail
        return any(f"{name}.{x}" in trail for x in ("87", "87a")) if t == "30" else f"{name}.{t}" in trail
    if node.shape == "starter":
        own = {"50": ("coil", "pull"), "30": ("contact", ""), "m": ("", "pull", "contact")}.get(
            t, ("", "coil")
        )
        return any((f"{name}.{b}" if b else name) in trail for b in own)
    if node.shape in ("splice", "ground"):
        return f"{name}.{t}" in trail
    if node.shape == "selector":
        return any(b.startswith(f"{name}.") and t in b[len(name) + 1 :].split("_") for b in trail)
    if node.shape == "box":
        pins = [f"{name}.{key(x)}" for x in (pin.terminal, *pin.also)]
        return any(x in trail for x in pins) or (not pin.also and pin.glyph == "" and _any(node, trail))
    return _any(node, trail)


def along(graph: Graph, trail: frozenset[str]) -> Graph:
    """What the trail passes, and the joints to the body of what it passes."""
    names = frozenset(key(b) for b in trail)
    kept = [n for n in graph.nodes if n.shape != "body" and any(lit(n, p, names) for p in n.pins())]
    for node in kept:
        if len(node.pins()) > 2 or node.stretches:
            node.tops = [p for p in node.tops if lit(node, p, names)]
            node.bottoms = [p for p in node.bottoms if lit(node, p, names)]
            if not node.stretches:  # close the gap a coil or winding leaves
                first = min(p.dx for p in node.pins())
                for p in node.pins():
                    p.dx -= first
                beside(node, max(p.dx for p in node.pins()) + 28)
    nets = {p.net for n in kept for p in n.pins()}
    feet = [n for n in graph.nodes if n.shape == "body" and n.pins()[0].net in nets]
    return Graph((*kept, *feet), graph.metals)


def _any(node: Node, trail: frozenset[str]) -> bool:
    own = {key(c) for c in node.covers}
    return any(b in own or (len(own) == 1 and b.startswith(f"{key(node.name)}.")) for b in trail)
