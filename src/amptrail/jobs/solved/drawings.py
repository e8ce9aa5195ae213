"""A sheet with variants is several drawings of one vehicle: nobody knows which of them it was built by."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from amptrail.circuit.model import Circuit, Fault, Feed, key
from amptrail.jobs.solved.feeds import overlay

AS_DRAWN = "as drawn"


@dataclass(frozen=True, slots=True)
class Drawing:
    """One of them: its name (`as drawn` for the sheet without its variants), the circuit, and what of the
    sheet it does not have."""

    name: str
    circuit: Circuit
    drops: tuple[str, ...] = ()

    def has(self, faults: tuple[Fault, ...]) -> bool:
        """Whether all that is at fault is on this drawing."""
        gone = {key(x) for x in self.drops}
        return not any({key(f.at.part), key(str(f.at))} & gone for f in faults)


def drawings(circuit: Circuit) -> tuple[Drawing, ...]:
    """The sheet as drawn, then each variant laid over it; a sheet without variants is itself alone."""
    return _laid(circuit) if circuit.variants else (Drawing(AS_DRAWN, circuit),)


@lru_cache(maxsize=32)
def _laid(circuit: Circuit) -> tuple[Drawing, ...]:
    plain = replace(circuit, variants=())
    out = [Drawing(AS_DRAWN, plain)]
    for v in circuit.variants:
        laid = Feed(v.name, parts=v.parts, paths=v.paths, nets=v.nets, cuts=v.drops)
        out.append(Drawing(v.name, overlay(plain, laid), v.drops))
    return tuple(out)
