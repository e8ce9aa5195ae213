"""Which cautions apply to a measurement: the point, its class, the phase, the way there, the instrument."""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.circuit.model import BusPin, Circuit, Driver, Input, NeverProbe, Part, Reference, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.wiring import Wiring, wiring
from amptrail.instruments.catalogue import Instrument
from amptrail.reference.cautions import Caution
from amptrail.reference.cautions import cautions as of_tags


def _touches(w: Wiring, at: Term, part: str) -> bool:
    """Whether a part has a terminal at the metal of `at`."""
    n = w.node(at)
    return n is not None and any(p == key(part) and m == n for (p, _), m in w.node_of.items())


def _pins(circuit: Circuit, at: Term) -> Iterator[object]:
    """The module lines whose pin is the metal of `at`."""
    w = wiring(circuit)
    here = w.node(at)
    for x in circuit.modules:
        if (
            isinstance(x, (BusPin, Driver, Input, Reference))
            and here is not None
            and w.node(Term(x.module, x.pin)) == here
        ):
            yield x


def _point_tags(circuit: Circuit, at: Term, instrument: Instrument) -> Iterator[str]:
    w = wiring(circuit)
    for r in circuit.refuses:
        if key(r.part) == key(at.part) or _touches(w, at, r.part):
            yield f"class:{r.refuse_class}"
    if any(p.kind == "battery" and key(p.name) == key(at.part) for p in circuit.parts):
        yield "part:battery"
    for x in _pins(circuit, at):
        if isinstance(x, BusPin):
            yield "bus"
        elif isinstance(x, Reference) or (isinstance(x, Input) and x.pull == "volts"):
            yield "reference"
        elif instrument.feeds:
            yield "instrument:feeding"


def _place_tags(circuit: Circuit, part: Part | None) -> Iterator[str]:
    for place in circuit.places:
        if part is not None and part.place is not None and key(place.name) == key(part.place):
            yield from (f"trait:{t.lower()}" for t in place.traits)


def tags(
    circuit: Circuit, at: Term, instrument: Instrument, phase: str | None = None, reach: str | None = None
) -> tuple[str, ...]:
    """The tags of a measurement, in a fixed order."""
    part = next((p for p in circuit.parts if key(p.name) == key(at.part)), None)
    found = [
        *_point_tags(circuit, at, instrument),
        *_place_tags(circuit, part),
        f"instrument:{instrument.name}",
    ]
    if phase is not None:
        found += [f"phase:{p.base}" for p in drive_cycle(circuit) if key(p.name) == key(phase)]
    if reach is not None:
        found.append(f"reach:{reach}")
    return tuple(dict.fromkeys(found))


def never_probe(circuit: Circuit, at: Term) -> NeverProbe | None:
    """The sheet's own `never probe` line for the metal of `at`."""
    w = wiring(circuit)
    here = w.node(at)
    for line in circuit.never_probe:
        if line.at == at or (here is not None and w.node(line.at) == here):
            return line
    return None


def cautions(
    circuit: Circuit, at: Term, instrument: Instrument, phase: str | None = None, reach: str | None = None
) -> tuple[Caution, ...]:
    """What to mind before touching `at` with this instrument in this phase, gravest first.

    Level `never` means that the measurement must not be offered; `meter-only` that only an instrument
    that feeds nothing may be used there.
    """
    return of_tags(tags(circuit, at, instrument, phase, reach))
