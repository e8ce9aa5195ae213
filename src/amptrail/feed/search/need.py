"""What must work again: the functions a name stands for, and the ways their current takes in the healthy
vehicle.

A way is the run of a current from a source through a load to ground; behind every relay on it lies the way of
its coil, and behind every output the ways that keep its module alive.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from amptrail.circuit.model import Circuit, Must, key
from amptrail.errors import nearest, one
from amptrail.feed.causes import FLOWS_A, downstream, upstream
from amptrail.feed.evidence import Instant, Story, asleep_steps, live
from amptrail.feed.functions import Finding, findings
from amptrail.feed.graph import Edge, edges
from amptrail.feed.loads import loads_of
from amptrail.feed.measures import drivers
from amptrail.solve.assemble import assemble

DEEPEST = 3  # relay behind relay behind relay


@dataclass(frozen=True, slots=True)
class Way:
    """The way of one current: `up` from the load to its source, `down` from the load to ground, nearest the
    load first; `a`, `b` the load's two metals. `control`: it only switches (a coil, a module)."""

    load: str
    a: int
    b: int
    up: tuple[Edge, ...]
    down: tuple[Edge, ...]
    control: bool
    feeds: str = ""  # the relay or module that this way switches


@lru_cache(maxsize=16)
def healthy_life(circuit: Circuit) -> Story:
    """The healthy vehicle from asleep through one drive cycle."""
    net = assemble(circuit)
    steps = asleep_steps(net)
    return Story("nominal", "healthy", "asleep", None, net, steps, live(net, [()], steps), 0)


def functions_of(circuit: Circuit, name: str) -> tuple[Must, ...]:
    """The functions a name stands for: a `must` line, a load or module one is about, or a part on the way of
    some. InputError when nothing is called so or nothing depends on it."""
    said = key(name.strip())
    exact = tuple(m for m in circuit.musts if key(m.name) == said)
    if exact:
        return _needed(exact, name)
    net = healthy_life(circuit).network
    if said not in {key(p.name) for p in circuit.parts}:
        names = [m.name for m in circuit.musts] + [p.name for p in circuit.parts]
        raise one("no-such-part", f"nothing to restore is called {name}", nearest=nearest(name, names),
                  expected=tuple(m.name for m in circuit.musts),
                  remedy="name a load, a module or a `must` line of the sheet")  # fmt: skip
    about = tuple(
        m
        for m in circuit.musts
        if key(m.module or "") == said or any(key(p.name) == said for p in loads_of(net, m))
    )
    if about:
        return _needed(about, name)
    passing = tuple(
        m
        for m in circuit.musts
        if any(said in (key(e.part), key(w.feeds)) for w in ways(circuit, m) for e in (*w.up, *w.down))
    )
    return _needed(passing, name)


def _needed(musts: tuple[Must, ...], name: str) -> tuple[Must, ...]:
    found = tuple(m for m in musts if m.on)
    if not found:
        raise one("nothing-to-restore", f"no `must` line of the sheet says when {name} has to work",
                  remedy=f"add one: must works: {name}.in to {name}.out 9 V or more in running")  # fmt: skip
    return found


@lru_cache(maxsize=64)
def _working(circuit: Circuit, must: Must) -> tuple[Instant, ...]:
    """The instants of the healthy life at which the function is on, the last first."""
    rows: list[Finding] = [
        f for f in findings(healthy_life(circuit)) if f.must == must and f.wanted == "on" and f.ok
    ]
    return tuple(f.instant for f in reversed(rows) if f.instant.step.pass_no > 0)


def ways(circuit: Circuit, must: Must) -> tuple[Way, ...]:
    """Every way the function depends on, its own first; empty when the healthy vehicle never does it."""
    every = every_way(circuit, must)
    return every[0] if every else ()


@lru_cache(maxsize=64)
def every_way(circuit: Circuit, must: Must) -> tuple[tuple[Way, ...], ...]:
    """The ways in each phase the function works in, the last first: while the engine runs another source may
    feed it than at rest."""
    return tuple(dict.fromkeys(_ways_at(x, must) for x in _working(circuit, must)))


def _ways_at(x: Instant, must: Must) -> tuple[Way, ...]:
    net = x.story.network
    if must.a is not None and must.b is not None:
        a, b = net.node(must.a), net.node(must.b)
        main = Way(must.a.part, a, b, tuple(upstream(x, a)), tuple(downstream(x, b)), False)
        return (main, *_behind(x, main, frozenset()))
    return tuple(_module_ways(x, must.module or "", frozenset()))


def _behind(x: Instant, w: Way, seen: frozenset[str]) -> Iterator[Way]:
    """The ways of what switches a way: coils, modules of outputs."""
    if len(seen) >= DEEPEST:
        return
    net = x.story.network
    outputs = {branch: name for name, branch, _ in drivers(net)}
    for e in (*w.up, *w.down):
        if e.kind == "contact" and e.part not in seen:
            coil = next(c for c in edges(net) if c.part == e.part and c.kind == "coil")
            a, b = (coil.a, coil.b) if float(x.amps[coil.branch]) >= 0 else (coil.b, coil.a)
            deeper = Way(e.part, a, b, tuple(upstream(x, a)), tuple(downstream(x, b)), True, e.part)
            yield deeper
            yield from _behind(x, deeper, seen | {e.part})
        elif e.branch in outputs:
            module = outputs[e.branch].partition(".")[0]
            if module not in seen:
                yield from _module_ways(x, module, seen | {module})


def _module_ways(x: Instant, module: str, seen: frozenset[str]) -> Iterator[Way]:
    """Each supply and input that draws current for a module, and its ground."""
    outputs = {branch for _, branch, _ in drivers(x.story.network)}
    for e in edges(x.story.network):
        if key(e.part) != key(module) or e.branch in outputs or float(x.amps[e.branch]) <= FLOWS_A:
            continue
        w = Way(module, e.a, e.b, tuple(upstream(x, e.a)), tuple(downstream(x, e.b)), True, module)
        yield w
        yield from _behind(x, w, seen | {module})
