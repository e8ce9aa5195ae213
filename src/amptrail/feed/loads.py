"""Which loads must stop when they should, and which may run longer (DESIGN section 9)."""

from __future__ import annotations

from functools import lru_cache

from amptrail.circuit.model import Must, Part, Term, key
from amptrail.solve.network import Network

LOAD_KINDS = ("motor", "lamp", "led", "starter", "solenoid", "heater", "ptc", "load", "resistor")
# words of the trade in the name or the text of a part or function (common practice)
LONGER_WORDS = ("fan", "blower", "lamp", "light", "lit")
LONGER_KINDS = ("lamp", "led")
STOP_WORDS = ("fuel", "ignition", "injector", "starter", "crank", "glow", "heater", "heat", "pto", "preheat")


@lru_cache(maxsize=64)
def loads_of(net: Network, must: Must) -> tuple[Part, ...]:
    """The loads whose terminals a `must` line names."""
    if must.a is None or must.b is None:
        return ()
    circuit, w = net.circuit, net.wires
    ends = {w.node(must.a), w.node(must.b)} - {None}
    found = []
    for p in circuit.parts:
        if p.kind in LOAD_KINDS:
            mine = {n for n in (w.node(Term(p.name, t)) for t in ("in", "out", "M", "31")) if n is not None}
            if ends <= mine:
                found.append(p)
    return tuple(found)


def _words(*texts: str | None) -> str:
    return " ".join(key(t) for t in texts if t)


def longer_part(part: Part) -> bool:
    """Whether a load may run longer: a lamp, or a motor called fan or blower; never one with a word of those
    that must stop."""
    said = _words(part.name, part.text)
    if any(w in said for w in STOP_WORDS):
        return False
    return part.kind in LONGER_KINDS or any(w in said for w in LONGER_WORDS)


def may_run_longer(net: Network, must: Must) -> bool:
    """Whether the function of a `must` line is a fan, blower or lamp."""
    parts = loads_of(net, must)
    if parts:
        return all(longer_part(p) for p in parts)
    said = _words(must.name)
    return any(w in said for w in LONGER_WORDS) and not any(w in said for w in STOP_WORDS)
