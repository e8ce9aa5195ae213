"""The vehicles of a proof: healthy, faulty and fed circuits, at a corner, with something held or altered."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from amptrail.checker.data import RejectedError, StoryKey
from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Driver, Fault, Feed, Supply, Term, key
from amptrail.circuit.strap import metal as bare_metal
from amptrail.circuit.wiring import wiring
from amptrail.errors import InputError
from amptrail.reference.fuse import SHORT_VOLTS, SHORT_WIRE_C
from amptrail.reference.wire import copper_factor
from amptrail.sheet import parse, parse_fault
from amptrail.sheet.printer import feed_lines
from amptrail.twin import Element, Held, with_value
from amptrail.twin.elements import fuse_ohm, wire_ohm
from amptrail.twin.overlay import overlay
from amptrail.twin.settle import Machine

ENDLESS = 1e9  # a fuse or output that bears anything
LEAST, MOST = 1e-9, 1e12  # SI numbers of a circuit lie between
SHORT_OHM = 0.005  # a wire crushed against bare metal (common practice)
COLD = 1e4  # a filament far below its rated volts keeps its cold resistance


@dataclass(frozen=True)
class Job:
    """What a proof is about: the sheet, the feed over it, the fault it bridges."""

    sheet: Circuit
    feed: Feed
    faults: tuple[Fault, ...]

    @cached_property
    def fed(self) -> Circuit:
        """The sheet with the feed's parts, which settle first; nothing cut yet."""
        own = {key(p.name) for p in self.sheet.parts} & {key(p.name) for p in self.feed.parts}
        if own:
            raise RejectedError(f"the feed brings a part the sheet has already: {min(own)}", "feed")
        c, f = self.sheet, self.feed
        return replace(c, parts=f.parts + c.parts, paths=c.paths + f.paths, nets=c.nets + f.nets)

    @cached_property
    def cuts(self) -> tuple[Fault, ...]:
        """What the feed isolates, as opens."""
        return tuple(Fault("open", term_of(self.fed, name)) for name in self.feed.cuts)


def job_of(sheet_text: str, lines: tuple[str, ...], against: str | None) -> Job:
    """Read sheet, feed and fault again. RejectedError when the feed or fault does not fit the sheet."""
    sheet = parse(sheet_text)
    name = lines[0].removeprefix("feed ").split(":", 1)[0].split(" ", 1)[0].strip("`") if lines else ""
    known = next((f for f in sheet.feeds if key(f.name) == key(name)), None)
    try:
        if known is not None:
            if tuple(feed_lines(sheet, known)) != lines:
                raise RejectedError(f"the sheet has another feed called {name}", "feed")
            feed = known
        else:
            whole = parse(sheet_text.rstrip("\n") + "\n" + "\n".join(lines) + "\n")
            if len(whole.feeds) != len(sheet.feeds) + 1 or replace(whole, feeds=sheet.feeds) != sheet:
                raise RejectedError("the feed's lines change the sheet", "feed")
            feed = whole.feeds[-1]
        job = Job(sheet, feed, ())
        return Job(sheet, feed, tuple(parse_fault(job.fed, against)) if against else ())
    except InputError as e:
        raise RejectedError(f"the feed or its fault does not fit this sheet: {e}", "feed") from e


def metals(c: Circuit) -> dict[str, Term]:
    """Every metal that a proof tells, by the name that stands for it: those joined by the sheet, and what a
    function or a starter has inside."""
    w = wiring(c)
    inside = [t for m in c.musts for t in (m.a, m.b) if t is not None]
    inside += [Term(p.name, "M") for p in c.parts if p.kind == "starter"]
    return {label(t): t for t in (*w.names, *(t for t in inside if w.node(t) is None))}


def label(t: Term) -> str:
    """A point or branch as a proof writes it."""
    return str(t) if t.name else t.part


def metal(c: Circuit, t: Term) -> str | None:
    """The name that stands for the metal of a point; None when there is none."""
    w = wiring(c)
    n = w.node(t)
    if n is not None:
        return label(w.names[n])
    return next((name for name, x in metals(c).items() if key(name) == key(label(t))), None)


def term_of(circuit: Circuit, name: str) -> Term:
    """A branch or point by its name."""
    part, dot, rest = name.partition(".")
    if dot and not any(key(p.name) == key(name) for p in circuit.parts):
        return Term(part, rest)
    return Term(name, "")


def with_numbers(circuit: Circuit, values: dict[str, float]) -> Circuit:
    """The circuit with numbers of a corner (`K4 pull_v`, `ECM.30 awake_ohm`, `ECM.main limit_a`). Rejected:
    a number that no part or module has, or that no part could have."""
    kinds = {key(p.name): p.kind for p in circuit.parts}
    for told, value in values.items():
        part, _, attribute = told.rpartition(" ")
        if not LEAST < value < MOST:
            raise RejectedError(f"no corner has {told} {value:g}", "corners")
        if key(part) in kinds:
            if not any(a.name == attribute for a in tables.table(kinds[key(part)])):
                raise RejectedError(f"{part} has no number {attribute}", "corners")
            circuit = with_value(circuit, part, attribute, value)
        else:
            circuit = _module_number(circuit, part, attribute, value)
    return circuit


def _module_number(circuit: Circuit, name: str, attribute: str, value: float) -> Circuit:
    lines, before = list(circuit.modules), circuit.modules
    for n, x in enumerate(lines):
        if (
            isinstance(x, Supply)
            and attribute in ("awake_ohm", "asleep_ohm")
            and key(f"{x.module}.{x.pin}") == key(name)
        ):
            awake = attribute == "awake_ohm"
            lines[n] = replace(x, awake_ohm=value) if awake else replace(x, asleep_ohm=value)
        elif isinstance(x, Driver) and key(f"{x.module}.{x.name}") == key(name) and attribute == "limit_a":
            lines[n] = replace(x, limit_a=value)
    if tuple(lines) == before:
        raise RejectedError(f"no module line has {name} {attribute}", "corners")
    return replace(circuit, modules=tuple(lines))


def _revalued(circuit: Circuit, faults: tuple[Fault, ...]) -> tuple[Circuit, tuple[Fault, ...]]:
    """Faults that are numbers become numbers first, so that a corner comes on top of them."""
    for f in faults:
        if f.mode == "has" and f.attribute and f.value is not None:
            circuit = with_value(circuit, f.at.part, f.attribute, f.value)
    return circuit, tuple(f for f in faults if f.mode != "has")


def machine_of(job: Job, k: StoryKey, values: dict[str, float], short_at: int | None = None) -> Machine:
    """The vehicle of a story, to be lived through. `short_at`: the metal crushed against bare body."""
    fed = k.vehicle == "fed"
    circuit = job.fed if fed else job.sheet
    faults = job.faults if k.vehicle in ("fed", "faulty") else ()
    own = {key(p.name) for p in job.feed.parts}
    circuit, faults = _revalued(circuit, faults)
    if not fed:
        values = {n: v for n, v in values.items() if key(n.rpartition(" ")[0]) not in own}
    circuit = with_numbers(circuit, values)
    faults = (*faults, *(job.cuts if fed else ()))
    held: tuple[Held, ...] = ()
    if k.held is not None:
        if any(key(p.name) == key(k.held) and p.kind == "switch" for p in circuit.parts):
            held = (Held(k.held, "open"),)
        else:
            faults = (*faults, Fault("dead", term_of(circuit, k.held)))
    more: tuple[Element, ...] = ()
    if k.extra is not None:
        circuit, faults, more = _altered(job, circuit, faults, k.extra, short_at)
    m = Machine(overlay(circuit, faults, held))
    return m.with_elements(*more) if more else m


Altered = tuple[Circuit, tuple[Fault, ...], tuple[Element, ...]]


def _altered(job: Job, c: Circuit, faults: tuple[Fault, ...], extra: str, short_at: int | None) -> Altered:
    """What each alteration changes: dead short, cold filaments, inrush, a ground strap lost."""
    word, _, rest = extra.partition(" ")
    if word == "half":
        return c, faults, ()
    c = _endless_fuses(c)
    if word in ("cold", "inrush"):
        c = _cold(c)
    if word == "inrush":
        c = replace(c, modules=tuple(replace(x, limit_a=ENDLESS) if isinstance(x, Driver) else x
                                     for x in c.modules))  # fmt: skip
        faults = (*faults, *(Fault("seized", Term(p.name, "")) for p in c.parts if p.kind == "motor"))
    if word == "lost":
        faults = (*faults, Fault("open", term_of(c, rest)))
    more: tuple[Element, ...] = ()
    body = wiring(c).node(bare_metal(c))
    if short_at is not None and body is not None and short_at != body:
        more = (Element(Term("", "short"), "res", short_at, body, (SHORT_OHM, 0.0)),)
        c = _hot(job, c)
    return c, faults, more


def _endless_fuses(c: Circuit) -> Circuit:
    for p in c.parts:
        if p.kind in ("fuse", "link"):
            c = with_value(c, p.name, "ohm", fuse_ohm(p))
            c = with_value(c, p.name, "rating_a", ENDLESS)
    return c


def _cold(c: Circuit) -> Circuit:
    for p in c.parts:
        if p.kind == "lamp":
            c = with_value(c, p.name, "rated_v", COLD * tables.number(p, "rated_v"))
            c = with_value(c, p.name, "rated_w", COLD**2 * tables.number(p, "rated_w"))
    return c


def _hot(job: Job, c: Circuit) -> Circuit:
    """The feed's wires as warm as a short makes them, the batteries as the reach table has them."""
    own = {key(p.name) for p in job.feed.parts}
    for p in c.parts:
        if p.kind == "wire" and key(p.name) in own:
            c = with_value(c, p.name, "ohm", wire_ohm(p) * copper_factor(SHORT_WIRE_C))
        if p.kind == "battery":
            c = with_value(c, p.name, "emf_v", SHORT_VOLTS)
    return c
