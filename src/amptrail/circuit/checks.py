"""Is the circuit sound: what a parser cannot see line by line, each problem with place and remedy."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from amptrail.circuit.figures import crossed
from amptrail.circuit.ideal import TWO_ENDED, batteries, bridged, loops
from amptrail.circuit.model import (
    BODY,
    And,
    Circuit,
    Driver,
    Expr,
    GroundPin,
    Held,
    InPhase,
    Input,
    Name,
    Not,
    Or,
    Part,
    Pulsed,
    Says,
    Signal,
    Supply,
    Term,
    key,
)
from amptrail.circuit.phases import drive_cycle, meant
from amptrail.circuit.places import at, part_problem
from amptrail.circuit.supply import misfits
from amptrail.circuit.wiring import wiring
from amptrail.errors import InputError, Problem, nearest
from amptrail.reference.words import colour_words, colours

_FIXED = {"relay": (("86", "85"), ("30",)), "alternator": (("B+",),), "starter": (("30",), ("50",))}


def _used(c: Circuit) -> Counter[int]:
    """How many terminals of parts meet in each node."""
    w = wiring(c)
    return Counter(n for (part, _), n in w.node_of.items() if part)


def _dangling(c: Circuit) -> Iterator[Problem]:
    w, used = wiring(c), _used(c)
    body = w.node(BODY)
    for p in c.parts:
        if p.kind in ("connector", "box", "module", "splice", "ground", "battery"):
            continue
        groups = _FIXED.get(p.kind, (("in", "out"),) if p.kind in TWO_ENDED and not p.contacts else ())
        mentioned = any(k[0] == key(p.name) for k in w.node_of)
        if not mentioned:
            yield part_problem(
                c,
                p.name,
                "unwired",
                f"{p.kind} {p.name} is in no path",
                "put it in a path, or remove it",
                "warning",
            )
            continue
        for name in (n for g in groups for n in g):
            node = w.node(Term(p.name, name))
            alone = node is None or (used[node] < 2 and node != body and not w.net_names[node])
            if alone:
                yield part_problem(
                    c,
                    p.name,
                    "dangling",
                    f"nothing is joined to {p.name}.{name}",
                    f"carry the path on from {p.name}.{name}",
                    "warning",
                )


def _links(c: Circuit) -> Iterator[tuple[int | None, int | None]]:
    """Pairs of nodes a part can join, switches and contacts taken as closed."""
    w = wiring(c)

    def n(part: str, name: str) -> int | None:
        return w.node(Term(part, name))

    body = w.node(BODY)
    for p in c.parts:
        mine = [node for (part, _), node in w.node_of.items() if part == key(p.name)]
        if p.kind in ("connector", "box"):
            for x in c.cavities:
                if key(x.connector) == key(p.name):
                    yield n(p.name, f"{x.name}.a"), n(p.name, f"{x.name}.b")
            continue
        yield from pairwise(mine)
        if p.kind == "ground" and mine:
            yield mine[0], body


def _grounded(c: Circuit) -> Iterator[Problem]:
    w = wiring(c)
    group = list(range(len(w.names)))

    def root(i: int) -> int:
        while group[i] != i:
            i = group[i]
        return i

    for a, b in _links(c):
        if a is not None and b is not None:
            group[root(a)] = root(b)
    home = [w.node(Term(p.name, "-")) for p in c.parts if p.kind == "battery"]
    roots = {root(h) for h in home if h is not None}
    body = w.node(BODY)
    if roots and body is not None and root(body) not in roots and _used(c)[body] + _grounds(c) > 0:
        yield Problem(
            "body-floating",
            "the body is not joined to a battery",
            severity="warning",
            remedy="add: path BAT.- -- joint -- body",
        )
    for p in c.parts:
        mine = [node for (part, _), node in w.node_of.items() if part == key(p.name)]
        if roots and mine and p.kind != "battery" and root(mine[0]) not in roots:
            yield part_problem(
                c,
                p.name,
                "no-ground-path",
                f"no path leads from {p.name} to a battery",
                "carry its path on to the battery or to body",
                "warning",
            )


def _ground(c: Circuit) -> Iterator[Problem]:
    """A battery whose minus leads nowhere."""
    w, used = wiring(c), _used(c)
    for p in c.parts:
        minus = w.node(Term(p.name, "-"))
        if p.kind == "battery" and (minus is None or (used[minus] < 2 and minus != w.node(BODY))):
            yield part_problem(
                c,
                p.name,
                "no-ground",
                f"nothing is joined to {p.name}.-, so no current can return",
                f"add: path {p.name}.- -- joint -- body",
            )


def _grounds(c: Circuit) -> int:
    return sum(p.kind == "ground" for p in c.parts)


def _known_phase(c: Circuit, said: str, who: str, where: tuple[int, int]) -> Iterator[Problem]:
    known = [p.name for p in drive_cycle(c)]
    if not meant(c, said) and key(said) != "off":
        yield Problem(
            "unknown-phase",
            f"{who} speaks of {said}, which is no phase of this sheet",
            *where,
            expected=tuple(known),
            nearest=nearest(said, known),
            remedy=f"use a phase of the sheet, or add: phase {said} as running 10 s",
        )


def _phases(c: Circuit) -> Iterator[Problem]:
    for m in c.musts:
        for said in (*m.on, *m.off):
            yield from _known_phase(c, said, f"must {m.name}", at(c, "must", m.name))
    for d in c.draws:
        yield from _known_phase(c, d.phase, "draw", at(c, "draw", d.phase))
    strict = c.phases != ()
    for p in c.parts:
        for attribute in ("closed_in", "spins_in"):
            given = p.said(attribute)
            for said in given if strict and isinstance(given, tuple) else ():
                yield from _known_phase(c, said, p.name, at(c, "part", p.name))
    switches = {key(p.name): p for p in c.parts if p.kind == "switch"}
    for phase in c.phases:
        for switch, position in phase.at:
            part = switches.get(key(switch))
            line, column = at(c, "phase", phase.name)
            if part is None:
                yield Problem(
                    "unknown-switch",
                    f"phase {phase.name} sets {switch}, which is no switch",
                    line,
                    column,
                    nearest=nearest(switch, [s.name for s in switches.values()]),
                    remedy="declare it: switch NAME positions off, on",
                )
            else:
                yield from _position(part, position, line, column)


def _position(part: Part, position: str, line: int, column: int) -> Iterator[Problem]:
    known = part.said("positions")
    if not isinstance(known, tuple) or key(position) not in map(key, known):
        names = known if isinstance(known, tuple) else ()
        yield Problem(
            "unknown-position",
            f"{part.name} has no position {position}",
            line,
            column,
            expected=names,
            nearest=nearest(position, names),
            remedy="list it in the switch's own line",
        )


def _terms(e: Expr) -> Iterator[Name | Says | InPhase]:
    match e:
        case Name() | Says() | InPhase():
            yield e
        case Not(of) | Held(of, _) | Pulsed(of, _):
            yield from _terms(of)
        case And(of) | Or(of):
            for x in of:
                yield from _terms(x)
        case _:
            return


def _rules(c: Circuit) -> Iterator[Problem]:
    inputs = {(key(m.module), key(m.name)) for m in c.modules if isinstance(m, Input)}
    signals = {(key(m.module), key(m.name)) for m in c.modules if isinstance(m, Signal)}
    for m in c.modules:
        if not isinstance(m, (Signal, Driver)):
            continue
        for x in _terms(m.expr if isinstance(m, Signal) else m.when):
            who = f"{m.module} {m.name}"
            if isinstance(x, InPhase):
                yield from _known_phase(c, x.phase, who, at(c, "rule", who))
                continue
            module = x.module if isinstance(x, Says) else m.module
            k = (key(module), key(x.name))
            scope = "signal" if isinstance(x, Says) else x.scope
            found = (k in inputs and scope != "signal") or (k in signals and scope != "input")
            if not found and key(x.name) != "awake":
                known = [n for mod, n in (*inputs, *signals) if mod == key(module)]
                line, column = at(c, "rule", who)
                yield Problem(
                    "unknown-signal",
                    f"{who} speaks of {x.name}, which {module} does not know",
                    line,
                    column,
                    expected=tuple(known),
                    nearest=nearest(x.name, known),
                    remedy=f"declare the input or the signal of {module}",
                )


def _modules(c: Circuit) -> Iterator[Problem]:
    grounds = {key(m.module) for m in c.modules if isinstance(m, GroundPin)}
    supplies = {key(m.module) for m in c.modules if isinstance(m, Supply)}
    for p in c.parts:
        if p.kind == "module" and key(p.name) not in grounds:
            yield part_problem(
                c,
                p.name,
                "no-ground-pin",
                f"module {p.name} has no ground pin",
                f"add: {p.name}.31 ground",
                "warning",
            )
        if p.kind == "module" and key(p.name) not in supplies:
            yield part_problem(
                c,
                p.name,
                "no-supply-pin",
                f"module {p.name} has no supply",
                f"add: {p.name}.30 supply 25 ohm awake 12 kohm asleep",
                "warning",
            )


def _functions(c: Circuit) -> Iterator[Problem]:
    musts = [m.name for m in c.musts]
    for i in c.interlocks:
        if key(i.function) not in map(key, musts):
            yield Problem(
                "unknown-function",
                f"interlock {i.switch} is for {i.function}, which no must line names",
                *at(c, "interlock", i.switch),
                expected=tuple(musts),
                nearest=nearest(i.function, musts),
                remedy="name a function that a must line declares",
            )


def _colours(c: Circuit) -> Iterator[Problem]:
    """Colours nobody can look up: the wire in the hand would be searched for by them."""
    for p in c.parts:
        code = p.said("colour")
        if not isinstance(code, str):
            continue
        try:
            colour_words(code)
        except InputError as e:
            near = next((k for k, v in colours().items() if v == code.lower()), e.problems[0].nearest)
            said = f"write {near}" if near else "write two letters such as RD, four for two colours: RDBK"
            what = f"{code} of {p.name} is no colour of IEC 60757"
            told = part_problem(c, p.name, "colour", what, said, "warning")
            yield replace(told, nearest=near, expected=tuple(colours()))


def check(circuit: Circuit) -> list[Problem]:
    """Every problem of the circuit: errors first, then warnings, by place."""
    found: list[Problem] = []
    metal = (batteries, bridged, loops, _ground, _dangling, _grounded)
    for rule in (*metal, _phases, _rules, _functions, _modules, crossed, misfits, _colours):
        found += rule(circuit)
    return sorted(found, key=lambda p: (p.severity != "error", p.line, p.column))
