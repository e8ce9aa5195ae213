"""Pins of modules: the terminals of a module that its lines name."""

from __future__ import annotations

from functools import lru_cache

from amptrail.circuit.model import (
    BusPin,
    Circuit,
    Clamp,
    Driver,
    GroundPin,
    Input,
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
