"""Random circuits that hold together: every kind of part, modules, faults, feeds."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from amptrail.circuit.model import (
    Always,
    And,
    BusPin,
    Cavity,
    Circuit,
    Clamp,
    Contact,
    Draw,
    Driver,
    Expr,
    Fault,
    Feed,
    GroundPin,
    Held,
    Hop,
    InPhase,
    Input,
    Interlock,
    Likelier,
    Lives,
    ModuleLine,
    Must,
    Name,
    NamedFault,
    Net,
    NeverProbe,
    Not,
    Or,
    Part,
    Path,
    Phase,
    Place,
    Point,
    Pulsed,
    Reach,
    Reference,
    Refuse,
    Says,
    Signal,
    Supply,
    Term,
    Travel,
    Value,
    Variant,
    WorkedOn,
)
from amptrail.circuit.tables import KINDS, Attribute, table

NUMBER = st.floats(0.001, 900.0, allow_nan=False)
TEXT = st.none() | st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), max_size=8)
PHASE = st.sampled_from(["ignition-on", "cranking", "running", "after-run", "asleep", "tail brake"])
PHASES = st.lists(PHASE, min_size=1, max_size=3, unique=True).map(tuple)
PLACE = st.none() | st.sampled_from(["bulkhead", "at", "left door"])
SIGNAL = st.sampled_from(["awake", "ign", "fan", "held", "while", "main relay"])
NAMES = ["A1", "relay", "W-7", "x_y", "left lamp", "Ü2", "B+x"]


def _value(row: Attribute) -> st.SearchStrategy[Value]:
    if row.unit == "phases":
        return PHASES
    if row.unit == "names":
        return st.just(("off", "on", "start"))
    if row.unit == "flag":
        return st.just(True)
    if row.unit.startswith("choice:"):
        return st.sampled_from(row.unit[7:].split("|"))
    if row.name == "to":
        return st.sampled_from(["body", "P25.-"])
    if row.unit == "text":
        return st.sampled_from(["RDBN", "GN"]) if row.name == "colour" else st.just("1 2 / 3 4")
    return st.floats(row.low if row.low is not None else 0.0, row.high if row.high is not None else 1e6)


@st.composite
def part(draw: Any, kind: Any, name: str) -> Part:
    """A part with some of the attributes of its kind, skipping those only told apart by order."""
    rows = list(table(kind))
    chosen = [r for i, r in enumerate(rows) if not _shadowed(rows, i) and draw(st.booleans())]
    given = tuple(sorted((r.name, draw(_value(r))) for r in chosen))
    contacts: tuple[Contact, ...] = ()
    if kind == "switch" and any(n == "positions" for n, _ in given) and draw(st.booleans()):
        contacts = (Contact("30", "15", ("on", "start")), Contact("30", "acc", ("on",)))
    return Part(kind, name, given, draw(PLACE), draw(TEXT), contacts)


def _shadowed(rows: list[Attribute], i: int) -> bool:
    return any((r.word, r.unit) == (rows[i].word, rows[i].unit) for r in rows[:i])


def expressions(modules: list[str]) -> st.SearchStrategy[Expr]:
    """Logic of every form."""
    leaf = (
        st.just(Always())
        | st.builds(Name, SIGNAL, st.sampled_from(["", "input", "signal"]))
        | st.builds(Says, st.sampled_from(modules), SIGNAL)
        | st.builds(InPhase, PHASE)
    )
    return st.recursive(
        leaf,
        lambda e: (
            st.builds(Not, e)
            | st.builds(And, st.lists(e, min_size=2, max_size=3).map(tuple))
            | st.builds(Or, st.lists(e, min_size=2, max_size=3).map(tuple))
            | st.builds(Held, e, NUMBER)
            | st.builds(Pulsed, e, NUMBER)
        ),
        max_leaves=6,
    )


def module_lines(modules: list[str]) -> st.SearchStrategy[ModuleLine]:
    """One line of a module, any form."""
    m, pin, maybe = (
        st.sampled_from(modules),
        st.sampled_from(["15", "mr", "can-h", "A 3", "B+"]),
        st.none() | NUMBER,
    )
    some = st.none() | pin
    no_pull = st.builds(Input, m, pin, SIGNAL, on_v=maybe, off_v=maybe, active_low=st.booleans())
    ground = st.builds(Input, m, pin, SIGNAL, st.just("ground"), maybe, on_v=maybe)
    supply = st.builds(Input, m, pin, SIGNAL, st.just("supply"), maybe, pull_from=some)
    volts = st.builds(Input, m, pin, SIGNAL, st.just("volts"), maybe, NUMBER)
    side, latch = st.sampled_from(["low", "high", "half"]), st.sampled_from(["request", "key"])
    driver = st.builds(
        Driver,
        m,
        pin,
        SIGNAL,
        side,
        expressions(modules),
        some,
        maybe,
        maybe,
        maybe,
        latch,
        maybe,
        st.booleans(),
        st.booleans(),
    )
    return (
        st.builds(GroundPin, m, pin)
        | st.builds(Lives, m, NUMBER)
        | st.builds(Supply, m, pin, maybe, maybe, maybe)
        | no_pull
        | ground
        | supply
        | volts
        | st.builds(Reference, m, pin, SIGNAL, NUMBER, NUMBER, NUMBER)
        | driver
        | st.builds(Clamp, m, pin, some, st.booleans())
        | st.builds(BusPin, m, pin, st.sampled_from(["can-high", "can-low"]), maybe, maybe)
        | st.builds(Signal, m, SIGNAL, expressions(modules))
    )


def _faults(names: dict[str, str]) -> st.SearchStrategy[Fault]:
    ohm, two = st.none() | NUMBER, st.sampled_from([Term(names["fuse"], "in"), Term(names["relay"], "87")])
    whole = st.sampled_from([Term(names["fuse"], ""), Term(names["lamp"], ""), Term(names["connector"], "4")])
    plain = st.sampled_from(
        [
            "open",
            "stuck_on",
            "stuck_off",
            "always_on",
            "stays_awake",
            "seized",
            "missing",
            "interlock_open",
            "instrument_wrong",
            "woken",
            "swapped",
        ]
    )
    return (
        st.builds(Fault, plain, whole | two)
        | st.builds(Fault, st.just("resistance"), whole, ohm=ohm)
        | st.builds(Fault, st.sampled_from(["to_ground", "to_supply"]), two, ohm=ohm)
        | st.builds(Fault, st.just("to_point"), two, st.just(Term(names["connector"], "4.b")), ohm)
        | st.builds(
            Fault,
            st.just("has"),
            st.just(Term(names["battery"], "")),
            attribute=st.just("emf_v"),
            value=NUMBER,
        )
        | st.just(Fault("module_dead", Term(names["module"], "")))
    )


def _boxes_first(mixed: list[str], cavity: tuple[Cavity, ...]) -> tuple[str, ...]:
    boxes = [c.connector for c in cavity]
    return (*boxes, *(x for x in mixed if x not in boxes))


@st.composite
def circuits(draw: Any) -> Circuit:
    """A circuit with one part of every kind, in any order, and something of every statement group."""
    kinds = draw(st.permutations(KINDS))
    n = {k: (NAMES[i] if i < len(NAMES) else f"P{i}") for i, k in enumerate(kinds)}
    parts = tuple(draw(part(k, n[k])) for k in kinds)
    cavity = (Cavity(n["connector"], "4", draw(st.none() | NUMBER), draw(TEXT)), Cavity(n["box"], "A1"))
    mixed = draw(st.permutations([*n.values(), *(f"{c.connector}.{c.name}" for c in cavity)]))
    order = (
        tuple(sorted(mixed, key=lambda x: "." in x)) if draw(st.booleans()) else _boxes_first(mixed, cavity)
    )
    hops = (
        Hop(n["battery"], "+", "+"),
        Hop(n["fuse"], "in", "out"),
        Hop(n["wire"], "in", "out"),
        Hop(n["splice"], "1", "2"),
        Hop(n["connector"], "4.a", "4.b"),
        Hop(n["relay"], "30", "87"),
        Hop(n["box"], "A1.b", "A1.a"),
        Hop(n["lamp"], "in", "out"),
        Hop(n["ground"], "1", "1"),
    )
    by_order = {name: i for i, name in enumerate(order)}
    parts = tuple(sorted(parts, key=lambda p: by_order[p.name]))
    cavity = tuple(sorted(cavity, key=lambda c: by_order[f"{c.connector}.{c.name}"]))
    a, b = Term(n["fuse"], "in"), Term(n["lamp"], "out")
    fault = st.lists(_faults(n), min_size=1, max_size=2).map(tuple)
    modules = tuple(draw(st.lists(module_lines([n["module"]]), max_size=5)))
    added = Part("relay", "JK", (("coil_ohm", draw(st.floats(1.0, 1e5))),))
    long = Feed(
        "J5",
        draw(TEXT),
        draw(fault),
        (added,),
        (Path((Hop(a.part, "in", "in"), Hop("JK", "86", "85"))),),
        (Net("jn", (Term("JK", "87"),)),),
        (n["joint"],),
    )
    return Circuit(
        draw(st.sampled_from(["", 'say "so"'])),
        draw(st.sampled_from(["amptrail", "oracle-1"])),
        draw(PLACE),
        (Place("tank", draw(st.none() | NUMBER), draw(TEXT), ("damp",)),),
        (Travel("tank", "left door", 4.0),),
        (
            Phase("running", "running", draw(st.none() | NUMBER), ((n["switch"], "on"),)),
            Phase("tail brake", "awake"),
        ),
        parts,
        cavity,
        (Path(hops),),
        (Net("fb", (a, b, Term("", "body"))), Net("k 86", (Term(n["relay"], "86"),))),
        modules,
        (
            Must(
                "m1",
                a,
                draw(st.sampled_from([Term(n["battery"], "-"), b])),
                min_v=9.0,
                on=("running",),
                max_off_v=1.0,
                off=("asleep",),
            ),
            Must(
                "m2",
                module=n["module"],
                signal="awake",
                on=draw(st.sampled_from([(), ("running",)])),
                off=("asleep",),
            ),
        ),
        (Interlock(n["switch"], "m1"),),
        (Draw("asleep", draw(NUMBER)),),
        (Refuse(n["module"], "restraint", draw(TEXT)),),
        (NeverProbe(a, draw(TEXT)),),
        (Reach(b, "back-probe", 2.0),),
        (
            Point("p1", "volts", a),
            Point("p2", "volts", a, Term("", "fb")),
            Point("p3", "amps", Term(n["relay"], "coil")),
            Point("p4", "ohms", a, b),
        ),
        (NamedFault("F01", draw(TEXT), draw(fault)),),
        (long,),
        (WorkedOn(n["lamp"], draw(TEXT)),),
        (Likelier(n["lamp"], draw(NUMBER)),),
        (Variant("B", drops=(n["wire"],)),),
        order,
        draw(st.sampled_from(["", "c02"])),
        draw(st.sampled_from(["", "two\nlines"])),
    )
