"""A Circuit as a sheet: reading it back gives the same circuit, order included."""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import (
    Cavity,
    Circuit,
    Feed,
    Hop,
    Must,
    Net,
    Part,
    Path,
    Phase,
    Point,
    Term,
    Variant,
    key,
)  # fmt: skip
from amptrail.circuit.tables import table
from amptrail.sheet.faults import fault_text
from amptrail.sheet.feeds import cuts_text, feed_text
from amptrail.sheet.print_modules import module_line
from amptrail.sheet.quantity import show_minutes
from amptrail.sheet.words import free_text, name_text, quoted, term_text, terminal_text
from amptrail.units import checked
from amptrail.units import exact as show


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(map(free_text, names))


def _said(text: str | None) -> str:
    return "" if text is None else f" {quoted(text)}"


def attributes(part: Part) -> str:
    """What follows a part's name, in the order of its table."""
    given, words = dict(part.given), []
    for row in table(part.kind):
        if row.name not in given:
            continue
        value = given[row.name]
        if row.name == "spins_in" and value == ():
            words.append("never spins")
        elif row.name in ("closed_in", "spins_in", "positions") and isinstance(value, tuple):
            words.append(f"{row.word or row.name} {_listed(value)}")
        elif row.unit == "flag":
            words.append(row.word)
        elif row.name == "suppressed":
            words.append("suppressed" if value == "diode" else f"suppressed by {name_text(str(value))}")
        elif row.name == "layout":
            words.append(f"layout {value}")
        elif row.name == "rows":
            words.append(f"rows {quoted(str(value))}")
        elif row.name == "to":
            words.append(f"to {term_text(_term_of(str(value)))}")
        elif row.name == "colour":
            words.append(name_text(str(value)))
        elif isinstance(value, (int, float)):
            words.append(f"{row.word} {show(float(value), checked(row.unit))}".strip())
    if part.text is not None:
        words.append(quoted(part.text))
    if part.place is not None:
        words.append(f"at {name_text(part.place)}")
    return "".join(f" {w}" for w in words)


def _term_of(text: str) -> Term:
    part, dot, name = text.partition(".")
    return Term(part, name) if dot else Term("", part)


def _part_lines(part: Part) -> Iterator[str]:
    yield f"{part.kind} {name_text(part.name)}{attributes(part)}"
    for c in part.contacts:
        who = name_text(part.name)
        yield f"{who}.{terminal_text(c.a)}-{terminal_text(c.b)} closed at {_listed(c.at)}"


def _cavity_line(c: Cavity) -> str:
    ohm = "" if c.ohm is None else f" {show(c.ohm, 'ohm')}"
    return f"cavity {name_text(c.connector)}.{terminal_text(c.name)}{ohm}{_said(c.text)}"


def _hop(hop: Hop, two_ended: bool) -> str:
    if not hop.part:
        return name_text(hop.a)
    part = name_text(hop.part)
    if two_ended and (hop.a, hop.b) == ("in", "out"):
        return part
    head_a, _, side_a = hop.a.rpartition(".")
    _, _, side_b = hop.b.rpartition(".")
    if head_a and side_a in ("a", "b"):
        at = f"{part}.{terminal_text(head_a)}.{side_a}"
        if hop.a == hop.b:
            return at
        return f"{at}-{side_b}"
    at = f"{part}.{terminal_text(hop.a)}"
    return at if hop.a == hop.b else f"{at}-{terminal_text(hop.b)}"


class _Paths:
    """Prints paths; wires left for the paths to declare are written in brackets at their first mention."""

    def __init__(self, inline: dict[str, Part], kinds: dict[str, str]) -> None:
        self.inline, self.kinds = inline, kinds

    def text(self, path: Path) -> str:
        words = []
        for i, hop in enumerate(path.hops):
            wire = self.inline.pop(key(hop.part), None) if hop.part else None
            if wire is not None:
                auto = self._auto(path, i)
                label = (
                    attributes(wire).strip()
                    if auto == wire.name
                    else f"{name_text(wire.name)}:{attributes(wire)}"
                )
                words.append(f"[{label}]")
            else:
                words.append(self._middle(path, i))
        return "path " + " -- ".join(words)

    def _middle(self, path: Path, i: int) -> str:
        hop = path.hops[i]
        inner = 0 < i < len(path.hops) - 1
        head = hop.a.removesuffix(".a")
        if inner and self.kinds.get(key(hop.part)) in ("connector", "box") and hop.b == f"{head}.b" != hop.a:
            return f"{name_text(hop.part)}.{terminal_text(head)}"
        return _hop(hop, self.kinds.get(key(hop.part)) not in ("splice", "ground", "module"))

    def _auto(self, path: Path, i: int) -> str:
        if not 0 < i < len(path.hops) - 1:
            return ""
        before, after = path.hops[i - 1], path.hops[i + 1]
        if key(after.part) in self.inline:
            return ""
        a = f"{before.part}.{before.b}" if before.part else before.b
        b = f"{after.part}.{after.a}" if after.part else after.a
        return f"{a}>{b}"


def _net(net: Net) -> str:
    return f"net {name_text(net.name)}: " + ", ".join(map(term_text, net.terms))


def _phase(p: Phase) -> str:
    words = [f"phase {free_text(p.name)}"]
    if p.name != p.base:
        words.append(f"as {p.base}")
    if p.duration_s is not None:
        words.append(show(p.duration_s, "s"))
    if p.at:
        words.append("with " + ", ".join(f"{name_text(s)} at {free_text(at)}" for s, at in p.at))
    return " ".join(words)


def _must(m: Must) -> str:
    if m.a is None:
        words = f"must {name_text(m.name)}: {name_text(m.module or '')} {name_text(m.signal or '')}"
        on = f" in {_listed(m.on)}" if m.on else ""
        off = f" not in {_listed(m.off)}" if m.off else ""
        return words + on + (";" if on and off else "") + off
    at = term_text(m.a) + (f" to {term_text(m.b)}" if m.b else "")
    bounds = []
    if m.min_v is not None:
        bounds.append(f"{show(m.min_v, 'V')} or more in {_listed(m.on)}")
    if m.max_off_v is not None:
        bounds.append(f"{show(m.max_off_v, 'V')} or less in {_listed(m.off)}")
    return f"must {name_text(m.name)}: {at} " + "; ".join(bounds)


def _point(p: Point) -> str:
    name, a = name_text(p.name), term_text(p.a)
    if p.what == "amps":
        return f"point {name} amps {a}"
    word = "ohms" if p.what == "ohms" else "point"
    return f"{word} {name} at {a}" if p.b is None else f"{word} {name} from {a} to {term_text(p.b)}"


def _frame(c: Circuit) -> Iterator[str]:
    if c.title:
        yield f"vehicle {quoted(c.title)}"
    if c.name:
        yield f"name {quoted(c.name)}"
    if c.notes:
        yield f"notes {quoted(c.notes)}"
    if c.laws != "amptrail":
        yield f"laws {c.laws}"
    if c.start_place is not None:
        yield f"start place {name_text(c.start_place)}"
    for p in c.places:
        minutes = "" if p.minutes is None else f" {show_minutes(p.minutes)}"
        yield f"place {name_text(p.name)}{minutes}{_said(p.text)}" + "".join(
            f" {name_text(t)}" for t in p.traits
        )
    for t in c.travels:
        yield f"travel {name_text(t.a)} to {name_text(t.b)} {show_minutes(t.minutes)}"
    yield from map(_phase, c.phases)


def _mentions(c: Circuit) -> list[str]:
    """Wires and cavities in the order the paths mention them."""
    wires = {key(p.name): p.name for p in c.parts if p.kind == "wire" and not p.contacts}
    boxes = {key(p.name) for p in c.parts if p.kind in ("connector", "box")}
    found: dict[str, None] = {}
    for path in c.paths:
        late: dict[str, None] = {}
        for i, hop in enumerate(path.hops):
            k = key(hop.part)
            if k in wires:
                (late if _unnamed(path, i, wires[k]) else found)[wires[k]] = None
            elif k in boxes:
                found[f"{hop.part}.{hop.a.rpartition('.')[0]}"] = None
        found |= late
    return list(found)


def _unnamed(path: Path, i: int, name: str) -> bool:
    return ">" in name and 0 < i < len(path.hops) - 1


def _inline(c: Circuit, order: tuple[str, ...]) -> set[str]:
    """Names at the end of the order that reading the paths would declare in just that order."""
    said = {f"{x.connector}.{x.name}" for x in c.cavities if x.ohm is not None or x.text is not None}
    mentions = _mentions(c)
    for size in range(len(mentions), 0, -1):
        tail = order[len(order) - size :]
        chosen = set(tail)
        if len(tail) == size and [m for m in mentions if m in chosen] == list(tail) and not chosen & said:
            return chosen
    return set()


def _parts(c: Circuit, order: tuple[str, ...], inline: set[str]) -> Iterator[str]:
    parts = {p.name: p for p in c.parts}
    cavities = {f"{x.connector}.{x.name}": x for x in c.cavities}
    for name in order:
        if name in inline:
            continue
        if name in parts:
            yield from _part_lines(parts[name])
        elif name in cavities:
            yield _cavity_line(cavities[name])


def full_order(c: Circuit) -> tuple[str, ...]:
    """The order of the circuit, completed with parts and cavities it forgets."""
    every = [*(p.name for p in c.parts), *(f"{x.connector}.{x.name}" for x in c.cavities)]
    known = set(c.order)
    return (*c.order, *(n for n in every if n not in known))


def _overlay_lines(head: str, o: Feed | Variant, c: Circuit | None) -> Iterator[str]:
    kinds = {key(p.name): p.kind for p in (*(c.parts if c else ()), *o.parts)}
    for part in o.parts:
        yield f"{head}{part.kind} {name_text(part.name)}{attributes(part)}"
    for path in o.paths:
        yield head + _Paths({}, dict(kinds)).text(path)
    for net in o.nets:
        yield head + _net(net)


def feed_lines(c: Circuit | None, feed: Feed) -> Iterator[str]:
    """The lines that declare a feed."""
    name = name_text(feed.name)
    if feed.short:
        yield f"feed {name}{_said(feed.text)}: {feed_text(feed)}"
        return
    against = f" for {fault_text(c, feed.against)}" if feed.against else ""
    yield f"feed {name}{_said(feed.text)}{against}"
    yield from _overlay_lines(f"{name} adds ", feed, c)
    if feed.cuts:
        yield f"{name} cuts {cuts_text(feed, c)}"


def _rest(c: Circuit) -> Iterator[str]:
    yield from map(_must, c.musts)
    for i in c.interlocks:
        yield f"interlock {name_text(i.switch)} for {name_text(i.function)}"
    for d in c.draws:
        yield f"draw {free_text(d.phase)} at most {show(d.max_a, 'A')}"
    for r in c.refuses:
        yield f"refuse {name_text(r.part)} {name_text(r.refuse_class)}{_said(r.text)}"
    for n in c.never_probe:
        yield f"never probe {term_text(n.at)}{_said(n.text)}"
    for x in c.reaches:
        minutes = "" if x.minutes is None else f" {show_minutes(x.minutes)}"
        yield f"reach {term_text(x.at)} {name_text(x.how)}{minutes}"
    yield from map(_point, c.points)
    for f in c.faults:
        yield f"fault {name_text(f.name)}{_said(f.text)}: {fault_text(c, f.faults)}"
    for feed in c.feeds:
        yield from feed_lines(c, feed)
    for w in c.worked_on:
        yield f"worked on {name_text(w.part)}{_said(w.text)}"
    for more in c.likelier:
        yield f"likelier {name_text(more.part)} {show(more.factor, 'x')}"
    for twin in c.likes:
        yield f"{name_text(twin.part)} like {name_text(twin.other)}"
    for v in c.variants:
        yield from _overlay_lines(f"variant {name_text(v.name)}: ", v, c)
        if v.drops:
            yield f"variant {name_text(v.name)} drops {_listed(v.drops)}"


def print_sheet(circuit: Circuit) -> str:
    """The sheet of a circuit; `parse(print_sheet(c)) == c` once `order` is complete."""
    order = full_order(circuit)
    inline = _inline(circuit, order)
    wires = {key(p.name): p for p in circuit.parts if p.name in inline}
    kinds: dict[str, str] = {key(p.name): p.kind for p in circuit.parts}
    paths = _Paths(wires, kinds)
    lines = [*_frame(circuit), *_parts(circuit, order, inline)]
    lines += [paths.text(p) for p in circuit.paths]
    lines += [_net(n) for n in circuit.nets]
    lines += [module_line(m) for m in circuit.modules]
    lines += _rest(circuit)
    return "\n".join(lines) + "\n"
