"""From line trees to a Circuit: every name resolved, every problem collected."""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from lark import Token, Tree

from amptrail.circuit.model import (
    Circuit,
    Contact,
    Draw,
    Feed,
    Interlock,
    Like,
    Likelier,
    NamedFault,
    Net,
    NeverProbe,
    Part,
    Path,
    Phase,
    Place,
    Point,
    Reach,
    Refuse,
    Term,
    Travel,
    Variant,
    WorkedOn,
    key,
)
from amptrail.circuit.strap import STRAP_OHM, needs_strap
from amptrail.errors import InputError, Problem, nearest
from amptrail.sheet.faults import faults
from amptrail.sheet.feeds import cut_names, short_feed
from amptrail.sheet.hops import Strings, make_part, term, word
from amptrail.sheet.lexer import quantity, unquote
from amptrail.sheet.modules import Modules, si
from amptrail.sheet.musts import listed, must
from amptrail.sheet.names import CAVITIED, Names, Node, wrong
from amptrail.sheet.oneline import tree_of
from amptrail.sheet.words import term_text
from amptrail.units import exact

BASES = ("asleep", "awake", "ignition-on", "cranking", "running", "after-run")
WAYS = ("post", "fuse-top", "bolt", "socket", "back-probe", "open-plug", "pierce", "not")
_MODULE_LINES = {"ground_pin", "lives", "supply", "input", "reference", "driver", "clamp", "bus", "signal"}
_POINTS = {"point_at", "point_between", "point_amps", "point_ohms"}
_SPARE = tuple(f"STRAP_{n}" for n in range(2, 100))
_FIRST = {
    "title",
    "sheet_name",
    "notes",
    "laws",
    "start_place",
    "place",
    "travel",
    "phase",
    "part",
    "contact",
    "path",
    "net",
    "cavity",
}


def _rank(kind: str) -> int:
    """Parts and wiring are read first, then what modules do and points are called, then all the rest."""
    return 0 if kind in _FIRST else 1 if kind in _MODULE_LINES or kind in _POINTS else 2


def _text(token: Any) -> str | None:
    return None if token is None else unquote(str(token))


def _minutes(token: Any) -> float | None:
    if token is None:
        return None
    si(token, "s")
    return quantity(str(token)).minutes


class Builder:
    """Takes the trees of all lines and makes the circuit."""

    def __init__(self) -> None:
        self.names = Names()
        self.strings = Strings(self.names)
        self.lists: dict[str, list[Any]] = {}
        self.scalars: dict[str, Any] = {}
        self.problems: list[Problem] = []
        self.places: dict[tuple[str, str], tuple[int, int]] = {}
        self.modules = Modules(self.names)
        self.parts: list[Part] = []
        self.order: list[str] = []
        self.scopes: dict[str, Names] = {}
        self.line = 0

    def add(self, field: str, item: Any) -> None:
        """Append to a tuple-to-be of the circuit."""
        self.lists.setdefault(field, []).append(item)

    def run(self, trees: list[tuple[int, Node]]) -> Circuit:
        """Read parts and wiring first, then all that speaks of them."""
        flat = [(n, t.children[0] if t.data == "statement" else t) for n, t in trees]
        for rank, read in enumerate((self._early, self._late, self._late)):
            for line, tree in flat:
                if _rank(str(tree.data)) == rank:
                    self._guard(line, tree, read)
            if rank == 0 and not self.names.spoilt and not self.problems:
                self._strap()
        return self._circuit()

    def _circuit(self) -> Circuit:
        fields: dict[str, Any] = {k: tuple(v) for k, v in self.lists.items()}
        return Circuit(
            **self.scalars,
            **fields,
            parts=tuple(self.parts),
            cavities=tuple(self.strings.cavities),
            order=tuple(self.order),
        )

    def _strap(self) -> None:
        """Where no path says how the body is joined to the battery a strap joins it; the answer says so."""
        minus = needs_strap(self._circuit())
        if minus is None:
            return
        name = next(n for n in ("STRAP", "BODY_STRAP", *_SPARE) if key(n) not in self.names.parts)
        ohm = exact(STRAP_OHM, "ohm")
        lines = f"joint {name} {ohm}", f"path {term_text(minus)} -- {name} -- body"
        for text in lines:
            self._guard(0, tree_of(text, "statement").children[0], self._early)
        said = f"no path joins the body to {term_text(minus)}: a strap {name} of {ohm} is assumed"
        self.problems.append(Problem("strap-assumed", said, severity="note", remedy=f"say it: {lines[1]}"))

    def _guard(self, line: int, tree: Node, read: Callable[[Node, int], None]) -> None:
        self.line = line
        try:
            read(tree, line)
        except InputError as e:
            self.problems += [replace(p, line=line) for p in e.problems]

    def _declare(self, part: Part, token: Token, line: int) -> None:
        if key(part.name) in self.names.parts:
            raise wrong(
                token, "twice", f"{part.name} is declared twice", remedy="give one of them another name"
            )
        self.names.add_part(part)
        self.parts.append(part)
        self.order.append(part.name)
        self.places["part", key(part.name)] = (line, token.column or 1)

    def _scalar(self, field: str, value: Any, token: Any) -> None:
        if field in self.scalars:
            raise wrong(
                token, "twice", f"{field.replace('_', ' ')} is said twice", remedy="keep one of the lines"
            )
        self.scalars[field] = value

    def _early(self, tree: Node, line: int) -> None:
        k = tree.children
        match str(tree.data):
            case "title":
                self._scalar("title", _text(k[1]), k[0])
            case "sheet_name":
                self._scalar("name", _text(k[1]), k[0])
            case "notes":
                self._scalar("notes", _text(k[1]), k[0])
            case "laws":
                laws = key(str(word(k[1]))).replace("_", "-")
                if laws not in ("amptrail", "oracle-1"):
                    raise wrong(
                        word(k[1]),
                        "unknown-laws",
                        f"there are no laws called {word(k[1])}",
                        known=("amptrail", "oracle-1"),
                        remedy="use one of these two",
                    )
                self._scalar("laws", laws, k[0])
            case "start_place":
                self._scalar("start_place", str(word(k[2])), k[0])
            case "place":
                self._place(k)
            case "travel":
                self.add("travels", Travel(str(word(k[1])), str(word(k[3])), _minutes(k[4]) or 0.0))
            case "phase":
                self._phase(k, line)
            case "part":
                try:
                    self._declare(make_part(str(k[0]).lower(), str(word(k[1])), k[2:]), word(k[1]), line)
                except InputError:
                    self.names.spoilt.add(key(str(word(k[1]))))
                    raise
            case "contact":
                self._contact(k)
            case "cavity":
                self._cavity(k)
            case "path":
                self.add("paths", self._path(k))
            case _:
                self.add("nets", self._net(tree))

    def _place(self, k: list[Any]) -> None:
        minutes, text, traits = None, None, []
        for item in k[2:]:
            one = item.children[0]
            if isinstance(one, Tree):
                traits.append(str(word(one)))
            elif one.type == "QTY":
                minutes = _minutes(one)
            else:
                text = _text(one)
        self.add("places", Place(str(word(k[1])), minutes, text, tuple(traits)))

    def _phase(self, k: list[Any], line: int) -> None:
        name = word(k[1])
        base = name if k[2] is None else word(k[2].children[1])
        spelled = key(str(base)).replace("_", "-")
        if spelled not in BASES:
            raise wrong(
                base,
                "unknown-base",
                f"{base} is not a base of a phase",
                known=BASES,
                remedy=f"say what it stands on, such as: phase {name} as "
                f"{(nearest(str(base), BASES) if base is not name else None) or 'ignition-on'} 10 s",
            )
        if any(key(p.name) == key(str(name)) for p in self.lists.get("phases", ())):
            raise wrong(name, "twice", f"phase {name} is declared twice", remedy="give it another name")
        at = []
        for setting in k[4].children if k[4] is not None else ():
            if isinstance(setting, Tree):
                at.append((str(word(setting.children[0])), str(word(setting.children[2]))))
        seconds = None if k[3] is None else si(k[3], "s")
        self.places["phase", key(str(name))] = (line, name.column or 1)
        self.add("phases", Phase(str(name), spelled, seconds, tuple(at)))  # type: ignore[arg-type]

    def _way(self, how: Token) -> None:
        """A word that names no known way is kept and warned of: how long it takes is then a guess."""
        if key(str(how)) not in map(key, WAYS):
            message, column = f"{how} is no way to reach a point", how.column or 1
            near, remedy = nearest(str(how), WAYS), "use one of these words"
            told = Problem("unknown-reach", message, self.line, column, "warning", WAYS, near, remedy)
            self.problems.append(told)

    def _contact(self, k: list[Any]) -> None:
        name, _, a, _, b = k[0].children
        part = self.names.part(word(name))
        if part.kind != "switch":
            raise wrong(word(name), "not-a-switch", f"{part.name} is a {part.kind}", remedy="name a switch")
        at = listed(k[3])
        positions = part.said("positions")
        known = positions if isinstance(positions, tuple) else ()
        for position in k[3].children:
            if isinstance(position, Tree) and key(str(word(position))) not in map(key, known):
                raise wrong(
                    word(position),
                    "unknown-position",
                    f"{part.name} has no position {word(position)}",
                    known=known,
                    remedy="list its positions in its own line",
                )
        changed = replace(part, contacts=(*part.contacts, Contact(str(a), str(b), at)))
        self.parts[self.parts.index(part)] = changed
        self.names.add_part(changed)

    def _cavity(self, k: list[Any]) -> None:
        node = k[1].children[0]
        if node.data != "pin":
            raise wrong(k[0], "which-cavity", "say which cavity", remedy="write: cavity X7.4 2 mohm")
        part = self.names.part(word(node.children[0]))
        if part.kind not in CAVITIED:
            raise wrong(
                word(node.children[0]),
                "no-cavities",
                f"{part.name} is a {part.kind} and has no cavities",
                remedy="name a connector or box",
            )
        name = str(node.children[2])
        self.strings.mention(part, name)
        ohm = None if k[2] is None else si(k[2], "ohm")
        self._take()
        at = next(
            i
            for i, c in enumerate(self.strings.cavities)
            if (key(c.connector), key(c.name)) == (key(part.name), key(name))
        )
        old = self.strings.cavities[at]
        if old.ohm is not None or old.text is not None:
            raise wrong(
                k[0], "twice", f"cavity {part.name}.{name} is described twice", remedy="keep one line"
            )
        self.strings.cavities[at] = replace(old, ohm=ohm, text=_text(k[3]))

    def _take(self) -> None:
        """What paths declared since the last time joins the parts, in order."""
        for wire in self.strings.wires:
            self.places["part", key(wire.name)] = (self.line, self.strings.columns.get(key(wire.name), 1))
        self.parts += self.strings.wires
        self.order += self.strings.order
        self.strings.wires.clear()
        self.strings.order.clear()

    def _path(self, k: list[Any]) -> Path:
        path = self.strings.path([t for t in k if isinstance(t, Tree)])
        self._take()
        return path

    def _net(self, tree: Node) -> Net:
        k = tree.children
        name = word(k[1])
        terms = [self._net_term(self.names, self.strings, ref) for ref in k[3:] if isinstance(ref, Tree)]
        self._take()
        if key(str(name)) in self.names.nets and key(str(name)) != "body":
            raise wrong(
                name, "twice", f"net {name} is declared twice", remedy="put all its points in one line"
            )
        self.names.nets.setdefault(key(str(name)), str(name))
        return Net(str(name), tuple(terms))

    def _late(self, tree: Node, line: int) -> None:
        kind, k = str(tree.data), tree.children
        self._stands(kind, k, line)
        if kind in _MODULE_LINES:
            made = self.modules.read(tree)
            self.names.learn_line(made)
            self.add("modules", made)
            return
        match kind:
            case "must_volts" | "must_signal":
                self.add("musts", must(self.names, tree))
            case "interlock":
                self.add("interlocks", Interlock(self.names.part(word(k[1])).name, str(word(k[3]))))
            case "draw":
                self.add("draws", Draw(str(word(k[1])), si(k[4], "A")))
            case "refuse":
                self.add("refuses", Refuse(self.names.part(word(k[1])).name, str(word(k[2])), _text(k[3])))
            case "never_probe":
                self.add("never_probe", NeverProbe(term(self.names, k[2]), _text(k[3])))
            case "reach":
                self._way(word(k[2]))
                self.add("reaches", Reach(term(self.names, k[1]), str(word(k[2])), _minutes(k[3])))
            case "point_at" | "point_between" | "point_amps" | "point_ohms":
                self._point(tree)
            case "named_fault":
                self.add("faults", NamedFault(str(word(k[1])), _text(k[2]), faults(self.names, k[4])))
            case "worked_on":
                self.add("worked_on", WorkedOn(self.names.part(word(k[2])).name, _text(k[3])))
            case "likelier":
                self.add("likelier", Likelier(self.names.part(word(k[1])).name, si(k[2], "x")))
            case "like":
                self._like(k)
            case "feed_short_line" | "feed_line" | "feed_adds" | "feed_cuts":
                self._feed(tree)
            case _:
                self._variant(tree)

    def _like(self, k: list[Any]) -> None:
        """Two parts of one kind; a part is no twin of itself."""
        a, b = self.names.part(word(k[0])), self.names.part(word(k[2]))
        if a.kind != b.kind or a.name == b.name:
            why = f"{a.name} is a {a.kind}, {b.name} a {b.kind}" if a.kind != b.kind else f"both are {a.name}"
            alike = [p.name for p in self.names.parts.values() if p.kind == a.kind and p.name != a.name]
            raise wrong(word(k[2]), "not-alike", f"only two parts of one kind are alike: {why}",
                        known=alike, remedy="name another part of the same kind")  # fmt: skip
        self.add("likes", Like(a.name, b.name))

    def _stands(self, kind: str, k: list[Any], line: int) -> None:
        """Remember where a line stands that the checks may speak of."""
        if kind in ("must_volts", "must_signal", "interlock", "draw"):
            token = word(k[1])
            self.places.setdefault((kind.split("_")[0], key(str(token))), (line, token.column or 1))
        elif kind == "signal":
            self.places.setdefault(
                ("rule", key(f"{word(k[0])} {word(k[1])}")), (line, word(k[1]).column or 1)
            )
        elif kind == "driver":
            who = f"{word(k[0].children[0])} {word(k[2])}"
            self.places.setdefault(("rule", key(who)), (line, word(k[2]).column or 1))

    def _point(self, tree: Node) -> None:
        k = tree.children
        name = word(k[1])
        if key(str(name)) in self.names.points:
            raise wrong(name, "twice", f"point {name} is declared twice", remedy="give it another name")
        refs = [t for t in k[2:] if isinstance(t, Tree)]
        what: Any = {"point_amps": "amps", "point_ohms": "ohms"}.get(str(tree.data), "volts")
        bare = what == "amps" and refs[0].children[0].data == "name"
        a = self.names.bare(word(refs[0].children[0]), part_first=True) if bare else term(self.names, refs[0])
        if what == "amps" and a.name.endswith(".a") and refs[0].children[0].data == "pin":
            a = Term(a.part, a.name[:-2])
        b = term(self.names, refs[1]) if len(refs) > 1 else None
        self.names.points[key(str(name))] = a
        self.add("points", Point(str(name), what, a, b))

    def _overlay(self, tree: Node, owner: str) -> dict[str, tuple[Any, ...]]:
        """Parts, paths and nets that a feed or a variant adds: its own names, over those of the sheet."""
        line = tree.children[0]
        k = line.children
        names = self.scopes.setdefault(owner, copy.deepcopy(self.names))
        if line.data == "part":
            part = make_part(str(k[0]).lower(), str(word(k[1])), k[2:])
            if key(part.name) in names.parts:
                raise wrong(
                    word(k[1]), "twice", f"{part.name} is declared twice", remedy="give it another name"
                )
            names.add_part(part)
            return {"parts": (part,)}
        strings = Strings(names)
        if line.data == "path":
            path = strings.path([t for t in k if isinstance(t, Tree)])
            return {"paths": (path,), "parts": tuple(strings.wires)}
        terms = tuple(self._net_term(names, strings, ref) for ref in k[3:] if isinstance(ref, Tree))
        name = str(word(k[1]))
        names.nets.setdefault(key(name), name)
        return {"nets": (Net(names.nets[key(name)], terms),)}

    def _net_term(self, names: Names, strings: Strings, ref: Node) -> Term:
        at, node = term(names, ref), ref.children[0]
        if node.data in ("pin", "span"):
            owner = names.part(word(node.children[0]))
            if owner.kind not in CAVITIED:
                names.metal(owner, Token.new_borrow_pos("TERM", at.name, node.children[2]))
        if at.part and not at.name:
            raise wrong(
                word(ref.children[0]),
                "which-terminal",
                f"say which terminal of {at.part}",
                remedy=f"write {at.part}.TERMINAL",
            )
        part = names.parts.get(key(at.part))
        if part is not None and part.kind in CAVITIED:
            strings.mention(part, at.name.rpartition(".")[0])
        names.note(at.part, at.name)
        return at

    def _grow(self, field: str, name: Token, make: Callable[[str], Any], **more: tuple[Any, ...]) -> None:
        held = self.lists.setdefault(field, [])
        for i, old in enumerate(held):
            if key(old.name) == key(str(name)):
                held[i] = replace(old, **{k: getattr(old, k) + v for k, v in more.items()})
                return
        if field == "feeds":
            raise wrong(
                name,
                "unknown-feed",
                f"no feed is called {name}",
                known=[f.name for f in held],
                remedy=f"declare it first: feed {name}",
            )
        held.append(replace(make(str(name)), **more))

    def _feed(self, tree: Node) -> None:
        k, kind = tree.children, str(tree.data)
        if kind == "feed_adds":
            self._grow("feeds", word(k[0]), Feed, **self._overlay(k[2], f"feed {key(str(word(k[0])))}"))
        elif kind == "feed_cuts":
            self._grow("feeds", word(k[0]), Feed, cuts=cut_names(self.names, k[2]))
        else:
            name = word(k[1])
            if any(key(f.name) == key(str(name)) for f in self.lists.get("feeds", ())):
                raise wrong(name, "twice", f"feed {name} is declared twice", remedy="give it another name")
            if kind == "feed_short_line":
                self.add("feeds", short_feed(self.names, str(name), _text(k[2]), k[4]))
            else:
                against = () if k[3] is None else faults(self.names, k[3].children[1])
                self.add("feeds", Feed(str(name), _text(k[2]), against))

    def _variant(self, tree: Node) -> None:
        k = tree.children
        if tree.data == "variant_drops":
            self._grow("variants", word(k[1]), Variant, drops=cut_names(self.names, k[3]))
        else:
            self._grow(
                "variants", word(k[1]), Variant, **self._overlay(k[3], f"variant {key(str(word(k[1])))}")
            )
