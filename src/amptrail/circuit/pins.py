"""Pins of a module, as its lines name them, and what of another part ends at one of its terminals."""

from __future__ import annotations

from functools import lru_cache

from amptrail.circuit.model import (
    BusPin,
    Circuit,
    Clamp,
    Driver,
    GroundPin,
    Input,
    Part,
    Reference,
    Supply,
    Term,
    key,
)


def is_pin(circuit: Circuit, at: Term) -> bool:
    """Whether `at` is a pin of a module, and not the name of one of its lines only."""
    return (key(at.part), key(at.name)) in _pins(circuit)


@lru_cache(maxsize=16)
def _pins(circuit: Circuit) -> frozenset[tuple[str, str]]:
    """(module, pin) of every line that names one."""
    lines = (GroundPin, Supply, Input, Reference, Driver, Clamp, BusPin)
    return frozenset((key(x.module), key(x.pin)) for x in circuit.modules if isinstance(x, lines))


def is_reference(circuit: Circuit, at: Term) -> bool:
    """Whether `at` is the pin of a reference."""
    return any(isinstance(x, Reference) and _same(x.module, x.pin, at) for x in circuit.modules)


def lives_by(circuit: Circuit, at: Term) -> bool:
    """Whether `at` is the only supply pin of its module, or its only ground pin."""
    for kind in (Supply, GroundPin):
        pins = {key(x.pin) for x in circuit.modules if isinstance(x, kind) and key(x.module) == key(at.part)}
        if pins == {key(at.name)}:
            return True
    return False


def _same(module: str, pin: str, at: Term) -> bool:
    return (key(module), key(pin)) == (key(at.part), key(at.name))


_ENDS = ("in", "out", "+", "-")
_ENDING: dict[str, dict[str, tuple[str, ...]]] = {
    "alternator": {"b+": ("",), "d+": ("field", "D+"), "31": ("", "field", "D+")},
    "relay": {"85": ("coil",), "86": ("coil",), "30": ("87", "87a")},
    "starter": {"50": ("coil", "pull"), "30": ("contact",), "31": ("coil", ""), "m": ("",)},
}


def ending_at(part: Part, terminal: str) -> tuple[str, ...]:
    """The branches of a part, no module, that a bad joint at one of its terminals parts from the wiring. None
    where the name is already that of a branch (a leg, a contact), or of nothing."""
    name = key(terminal)
    if part.kind in _ENDING:
        return _ENDING[part.kind].get(name, ())
    if part.kind in ("connector", "box"):
        return (terminal[:-2],) if name.endswith((".a", ".b")) else ()
    if part.contacts:
        return tuple(f"{c.a}-{c.b}" for c in part.contacts if name in (key(c.a), key(c.b)))
    whole = part.kind not in ("module", "pot", "splice", "ground")
    return ("",) if whole and terminal in _ENDS else ()


def is_wiper(part: Part, terminal: str) -> bool:
    """The tap of a track: what comes to it from outside is its only joint."""
    return part.kind in ("pot", "sensor") and terminal == "2"
