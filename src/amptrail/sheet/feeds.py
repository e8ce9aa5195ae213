"""Temporary feeds: the short form expanded to parts and paths, and printed back."""

from __future__ import annotations

from lark import Token

from amptrail.circuit.model import Circuit, Feed, Hop, Part, PartKind, Path, Term, key
from amptrail.sheet.attributes import measured
from amptrail.sheet.faults import blamed
from amptrail.sheet.hops import term, word
from amptrail.sheet.modules import si
from amptrail.sheet.names import HUBS, Names, Node, wrong
from amptrail.sheet.oneline import tree_of
from amptrail.sheet.words import name_text, term_text
from amptrail.units import exact as show

LAMP_V = 12.0  # a lamp in a lead is a 12 V lamp of the stated watts (common practice)
LAMP_LEAST_W, LAMP_MOST_W = 0.1, 500.0  # as for lamps of the sheet


def _hop(at: Term) -> Hop:
    return Hop(at.part, at.name, at.name)


def _end(names: Names, ref: Node) -> Hop:
    at = term(names, ref)
    part = names.parts.get(key(at.part))
    if part is not None and not at.name and part.kind in HUBS:  # a splice or ground takes a new leg
        at = Term(at.part, str(names.legs.get(key(at.part), 0) + 1))
        names.note(at.part, at.name)
    if not at.name:
        raise wrong(
            word(ref.children[0]),
            "which-terminal",
            f"{at.part} has several terminals",
            remedy=f"say which, such as {at.part}.in",
        )
    return _hop(at)


def short_feed(names: Names, name: str, text: str | None, tree: Node) -> Feed:
    """`from A to B fuse 5 A wire 2.5 mm2 3 m …`: source, fuse, 12 V lamp, relay contact, diode, wire."""
    _, start, _, end, *items = tree.children
    source, target = _end(names, start), _end(names, end)
    made: dict[str, Part] = {}
    control: Path | None = None
    cuts: tuple[str, ...] = ()
    quenched = any(str(item.data) == "feed_suppressed" for item in items)
    for item in items:
        k = item.children
        match str(item.data):
            case "feed_fuse":
                made["fuse"] = Part("fuse", f"{name}_fuse", (("rating_a", _of("fuse", k[1], "A")),))
            case "feed_lamp":
                rated = (("rated_v", LAMP_V), ("rated_w", _watts(k[1])))
                made["lamp"] = Part("lamp", f"{name}_lamp", rated)
            case "feed_diode":
                made["diode"] = Part("diode", f"{name}_diode")
            case "feed_wire":
                given = [("area_mm2", _of("wire", k[1], "mm2"))]
                if k[2] is not None:
                    given.append(("length_m", _of("wire", k[2], "m")))
                made["wire"] = Part("wire", f"{name}_wire", tuple(given))
            case "feed_relay":
                made["relay"] = Part("relay", f"{name}_relay", (("suppressed", "diode"),) if quenched else ())
                coil = Hop(f"{name}_relay", "86", "85")
                control = Path((_end(names, k[4]), coil, _end(names, k[6])))
            case "feed_suppressed":
                pass  # said of the relay
            case _:
                cuts += cut_names(names, k[1])
    order = [made[w] for w in ("fuse", "lamp", "relay", "diode", "wire") if w in made]
    middle = tuple(Hop(p.name, "30", "87") if p.kind == "relay" else Hop(p.name, "in", "out") for p in order)
    main = Path((source, *middle, target))
    paths = (main,) if control is None else (main, control)
    return Feed(name, text, (), tuple(order), paths, (), cuts, True)


def _of(kind: PartKind, token: Token, unit: str) -> float:
    """A figure of a part of the feed, in its unit and within what such parts have."""
    si(token, unit)
    return measured(kind, "", token, set())[1]


def _watts(token: Token) -> float:
    watts = si(token, "W")
    if not LAMP_LEAST_W <= watts <= LAMP_MOST_W:
        raise wrong(token, "impossible", f"no lamp of {token}", remedy="give its watts, such as lamp 21 W")
    return watts


def cut_names(names: Names, tree: Node) -> tuple[str, ...]:
    """What to open: a wire, joint or other part by name, or one branch of it (`X7.4`, `K4.87`, `S1.2`)."""
    found = []
    for ref in tree.children:
        if isinstance(ref, Token):
            continue
        node = ref.children[0] if ref.data == "ref" else ref
        at = Term(names.part(word(node)).name, "") if node.data == "name" else blamed(names, ref, "open")
        found.append(f"{at.part}.{at.name}" if at.name else at.part)
    return tuple(found)


def cuts_text(feed: Feed, c: Circuit | None) -> str:
    """What a feed cuts, as written. A dot parts a branch from its part, unless a part of `c` is called so."""
    parts = {key(p.name) for p in c.parts} if c is not None else set()
    said = []
    for name in feed.cuts:
        head, dot, tail = name.rpartition(".")
        whole = key(name) in parts or (c is None and _is_run(name))
        said.append(term_text(Term(head, tail)) if dot and not whole else name_text(name))
    return ", ".join(said)


def _is_run(name: str) -> bool:
    """Whether a name is that of a run between two terminals (`K1.87>X1.1.a`), not of an end of one."""
    _, found, second = name.partition(">")
    return bool(found) and not (second.count(".") > 1 and second.endswith((".in", ".out")))


def parse_feed(circuit: Circuit, text: str, name: str = "feed") -> Feed:
    """A feed in the short form, such as `from F3.out to X1.21.b fuse 5 A wire 0.5 mm2 2 m`."""
    return short_feed(Names(circuit), name, None, tree_of(text, "feed_arg").children[0])


def _short_text(feed: Feed) -> str:
    main = feed.paths[0].hops
    words = [
        f"from {term_text(Term(main[0].part, main[0].a))} to {term_text(Term(main[-1].part, main[-1].a))}"
    ]
    for part in feed.parts:
        given = dict(part.given)
        if part.kind == "relay":
            control = feed.paths[1].hops
            by, to = (term_text(Term(h.part, h.a)) for h in (control[0], control[-1]))
            words.append(f"through relay switched by {by} to {to}" + (" suppressed" if given else ""))
        elif part.kind == "fuse":
            words.append(f"fuse {show(float(given['rating_a']), 'A')}")  # type: ignore[arg-type]
        elif part.kind == "lamp":
            words.append(f"lamp {show(float(given['rated_w']), 'W')}")  # type: ignore[arg-type]
        elif part.kind == "wire":
            words.append(f"wire {show(float(given['area_mm2']), 'mm2')}")  # type: ignore[arg-type]
            if "length_m" in given:
                words.append(show(float(given["length_m"]), "m"))  # type: ignore[arg-type]
        else:
            words.append("diode")
    if feed.cuts:
        words.append("cut " + cuts_text(feed, None))
    return " ".join(words)


def feed_text(feed: Feed) -> str:
    """A short feed in words; a long one as the lines that declare it."""
    if feed.short:
        return _short_text(feed)
    from amptrail.sheet.printer import feed_lines  # the printer prints feeds with this function

    return "\n".join(feed_lines(None, feed))
