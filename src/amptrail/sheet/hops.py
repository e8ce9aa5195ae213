"""Hops of a path: what each item of `path A -- B -- C` stands for."""

from __future__ import annotations

from typing import Any

from lark import Token

from amptrail.circuit.model import Cavity, Hop, Part, Path, Term, Value, key
from amptrail.sheet.attributes import attribute
from amptrail.sheet.lexer import unquote
from amptrail.sheet.names import CAVITIED, HUBS, TERMINALS, TWO_ENDED, Names, Node, wrong


def word(tree: Node) -> Token:
    """The token of a `name` tree."""
    token: Token = tree.children[0]
    return token


def term(names: Names, tree: Node, *, strict: bool = False) -> Term:
    """The terminal a `ref`, `pin` or `side` tree names."""
    node = tree.children[0] if tree.data == "ref" else tree
    if node.data == "name":
        return names.bare(word(node))
    part = names.part(word(node.children[0]))
    if node.data == "span":
        return Term(part.name, names.branch(part, node.children[2], node.children[4]))
    first, side = node.children[2], node.children[4] if node.data == "side" else None
    if part.kind in CAVITIED:
        return Term(part.name, names.cavity_side(part, first, side, strict=strict))
    if side is not None:
        raise wrong(
            side, "unknown-terminal", f"{part.kind} {part.name} has no cavities", remedy="write PART.TERMINAL"
        )
    return Term(part.name, names.terminal(part, first, strict=strict))


class Strings:
    """Reads the hops of paths, declaring wires and cavities as they are mentioned."""

    def __init__(self, names: Names) -> None:
        self.names = names
        self.wires: list[Part] = []
        self.columns: dict[str, int] = {}  # where the bracket of a wire opens, by its key
        self.cavities: list[Cavity] = []
        self.order: list[str] = []

    def path(self, items: list[Node]) -> Path:
        """The hops of one path."""
        hops: list[Hop | Node] = []
        for i, item in enumerate(items):
            kind = str(item.data)
            if kind in ("hop_wire", "hop_named_wire"):
                hops.append(self._wire_hop(item))
            else:
                hops.append(self._hop(item, first=i == 0, last=i == len(items) - 1))
        return Path(tuple(self._settle(hops, i) for i in range(len(hops))))

    def mention(self, part: Part, cavity: str) -> None:
        """A cavity is declared by its first mention."""
        k = (key(part.name), key(cavity))
        if k not in self.names.cavities:
            self.names.cavities[k] = cavity
            self.cavities.append(Cavity(part.name, cavity))
            self.order.append(f"{part.name}.{cavity}")

    def _hop(self, item: Node, *, first: bool, last: bool) -> Hop:
        kind, kids = str(item.data), item.children
        if kind == "hop_bare":
            return self._bare(word(kids[0]), first=first, last=last)
        if kind == "hop_point":
            return self._point(kids[0], first=first, last=last)
        part = self.names.part(word(kids[0]))
        if kind == "hop_cavity":
            a = self.names.cavity_side(part, kids[2], kids[4])
            b = self.names.cavity_side(part, kids[2], kids[6])
            self.mention(part, str(kids[2]))
            return Hop(part.name, a, b)
        a, b = (
            self.names.metal(part, t, strict=part.kind not in HUBS and part.kind != "module")
            for t in (kids[2], kids[4])
        )
        self.names.note(part.name, a)
        self.names.note(part.name, b)
        return Hop(part.name, a, b)

    def _bare(self, token: Token, *, first: bool, last: bool) -> Hop:
        folded = key(str(token))
        if folded not in self.names.parts and folded in self.names.nets:
            net = self.names.nets[folded]
            return Hop("", net, net)
        part = self.names.part(token)
        if part.kind in HUBS:
            a = self._leg(part)
            return Hop(part.name, a, a if first or last else self._leg(part))
        if part.kind in TWO_ENDED and not part.contacts:
            return Hop(part.name, "in", "out")
        ways = tuple(f"{c.a}-{c.b}" for c in part.contacts)
        known = ways or TERMINALS.get(part.kind, tuple(self.names.pins.get(key(part.name), {}).values()))
        raise wrong(
            token,
            "which-terminal",
            f"{part.kind} {part.name} has several terminals",
            remedy=f"say which, such as {part.name}.{known[0] if known else '1'}",
        )

    def _leg(self, part: Part) -> str:
        number = self.names.legs.get(key(part.name), 0) + 1
        self.names.note(part.name, str(number))
        return str(number)

    def _point(self, node: Node, *, first: bool, last: bool) -> Hop:
        part = self.names.part(word(node.children[0]))
        if part.kind in CAVITIED:
            self.mention(part, str(node.children[2]))
            name = self.names.cavity(part, node.children[2])
            if node.data == "pin" and not (first or last):
                return Hop(part.name, f"{name}.a", f"{name}.b")
            side = node.children[4] if node.data == "side" else Token("TERM", "b" if first else "a")
            text = self.names.cavity_side(part, node.children[2], side)
            return Hop(part.name, text, text)
        name = term(self.names, node).name if node.data != "pin" else self.names.metal(part, node.children[2])
        self.names.note(part.name, name)
        return Hop(part.name, name, name)

    def _wire_hop(self, item: Node) -> Hop | Node:
        if item.data == "hop_named_wire":
            name, items = word(item.children[1]), item.children[3:-1]
            if key(str(name)) in self.names.parts:
                raise wrong(name, "twice", f"{name} is declared twice", remedy="give the wire another name")
            self._declare(str(name), items, item.children[0])
            return Hop(str(name), "in", "out")
        items = item.children[1:-1]
        if len(items) == 1 and items[0].data == "attr_colour":
            token = items[0].children[0]
            known = self.names.parts.get(key(str(token)))
            if known is not None and known.kind == "wire":
                return Hop(known.name, "in", "out")
        return item

    def _settle(self, hops: list[Hop | Node], i: int) -> Hop:
        item = hops[i]
        if isinstance(item, Hop):
            return item
        before = hops[i - 1] if i else None
        after = hops[i + 1] if i + 1 < len(hops) else None
        if not isinstance(before, Hop) or not isinstance(after, Hop):
            raise wrong(
                item.children[0],
                "name-the-wire",
                "a wire without a name needs a named thing on each side",
                remedy="give the wire a name, such as [W1: 1 mm2 1 m]",
            )
        base = f"{Term(before.part, before.b)}>{Term(after.part, after.a)}"
        name, n = base, 1
        while key(name) in self.names.parts:
            n += 1
            name = f"{base}#{n}"
        self._declare(name, item.children[1:-1], item.children[0])
        hops[i] = Hop(name, "in", "out")
        return Hop(name, "in", "out")

    def _declare(self, name: str, items: list[Node], bracket: Token) -> None:
        part = make_part("wire", name, items)
        self.columns[key(name)] = bracket.column or 1
        self.names.add_part(part)
        self.wires.append(part)
        self.order.append(name)


def make_part(kind: Any, name: str, items: list[Node]) -> Part:
    """A part from its attribute trees."""
    given: dict[str, Value] = {}
    place: str | None = None
    text: str | None = None
    for item in items:
        if item.data == "attr_place":
            place = str(word(item.children[1]))
        elif item.data == "attr_text":
            text = unquote(str(item.children[0]))
        else:
            name_, value = attribute(kind, item, set(given))
            given[name_] = value
    return Part(kind, name, tuple(sorted(given.items())), place, text)
