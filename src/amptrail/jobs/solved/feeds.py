"""A temporary feed laid over a circuit: the sheet never changes, the circuit that is computed does."""

from __future__ import annotations

from dataclasses import replace

from amptrail.circuit.model import Circuit, Feed, key
from amptrail.sheet import parse_feed


def find_feed(circuit: Circuit, text: str) -> Feed:
    """A feed by its name in the sheet, or by its words."""
    for f in circuit.feeds:
        if key(f.name) == key(text.strip()):
            return f
    return parse_feed(circuit, text)


def overlay(circuit: Circuit, feed: Feed) -> Circuit:
    """The circuit with the feed fitted: its parts, paths and nets added, what it cuts opened. The feed's
    parts come first, as they settle first; a battery it brings comes last, as the first one is the reference.

    A cut wire or joint stays in the circuit as a part of 1 GOhm, so that its two ends keep their names.
    """
    cut = {key(c) for c in feed.cuts}
    parts = tuple(
        replace(p, given=tuple(sorted({**dict(p.given), "ohm": 1e9}.items()))) if key(p.name) in cut else p
        for p in circuit.parts
    )
    cavities = tuple(
        replace(c, ohm=1e9) if key(f"{c.connector}.{c.name}") in cut else c for c in circuit.cavities
    )
    added = tuple(p.name for p in feed.parts)
    first = tuple(p for p in feed.parts if p.kind != "battery")
    last = tuple(p for p in feed.parts if p.kind == "battery")
    return replace(
        circuit,
        parts=first + parts + last,
        cavities=cavities,
        paths=circuit.paths + feed.paths,
        nets=circuit.nets + feed.nets,
        order=added + circuit.order if circuit.order else (),
    )


def fitted(circuit: Circuit, text: str | None) -> Circuit:
    """The circuit with the feed of that name or text, or unchanged for None."""
    return overlay(circuit, find_feed(circuit, text)) if text else circuit
