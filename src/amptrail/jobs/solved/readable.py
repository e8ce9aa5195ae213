"""Which of the instruments asked for can read a spot, and what it then reads there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from amptrail.circuit.model import Circuit, Part, Term, key
from amptrail.errors import ModelError
from amptrail.jobs.solved.session import session
from amptrail.jobs.solved.spots import Spot, all_spots, is_metal, spot

PROTECTS = ("fuse", "link", "polyfuse")


def asked_for(circuit: Circuit, at: Sequence[str], wanted: Sequence[str]) -> list[tuple[Spot, str]]:
    """Every spot with every instrument that can read it. No place named: all points, with a clamp all wires
    and fuses too, with `fuse-drop` all fuses."""
    spots = [spot(circuit, text) for text in at] or [*all_spots(circuit), *_whole_parts(circuit, wanted)]
    return [pair for s in spots for pair in _pairs(circuit, s, wanted, bool(at))]


def _whole_parts(circuit: Circuit, wanted: Sequence[str]) -> Iterator[Spot]:
    kinds = (*PROTECTS, "wire") if "clamp" in wanted else PROTECTS if "fuse-drop" in wanted else ()
    for part in circuit.parts:
        if part.kind in kinds and is_metal(circuit, Term(part.name, "in")):
            yield Spot(part.name, "amps", Term(part.name, ""))


def _pairs(circuit: Circuit, s: Spot, wanted: Sequence[str], named: bool) -> list[tuple[Spot, str]]:
    if s.what == "ohms":
        return [(s, "ohmmeter")]
    if s.what == "amps":
        return _through(circuit, s, wanted)
    if tuple(wanted) == ("ohmmeter",):
        return [(s, "ohmmeter")]  # asked for outright: ohms from here to battery minus
    loop = _branch(circuit, s) if named and "clamp" in wanted else None
    volts = [w for w in wanted or ("meter",) if w not in ("clamp", "ohmmeter")]
    volts = [w for w in volts if w != "fuse-drop" or s.b is not None]  # millivolts across something
    return [*((s, w) for w in volts), *([(loop, "clamp")] if loop else ())]


def _through(circuit: Circuit, s: Spot, wanted: Sequence[str]) -> list[tuple[Spot, str]]:
    """A part is read by a clamp around it, or by its own drop when that is asked for."""
    ends = [Term(s.a.part, t) for t in ("in", "out")]
    drop = "fuse-drop" in wanted and not s.a.name and all(is_metal(circuit, t) for t in ends)
    across = [(Spot(s.name, "volts", *ends), "fuse-drop")] if drop else []
    return [*across, *([(s, "clamp")] if "clamp" in wanted or not across else ())]


def _branch(circuit: Circuit, s: Spot) -> Spot | None:
    """The current where a point is also a branch: a contact `K4.87`, a leg `S1.2`, a cavity `X7.4`."""
    name = s.a.name.removesuffix(".a") if _is_cavity(circuit, s) else s.a.name
    at = Term(s.a.part, name)
    try:
        session(circuit).network.branch(at)
    except ModelError:
        return None
    return Spot(s.name, "amps", at)


def _is_cavity(circuit: Circuit, s: Spot) -> bool:
    def mine(part: Part) -> bool:
        return key(part.name) == key(s.a.part) and part.kind in ("connector", "box")

    return not s.name.endswith(".a") and any(map(mine, circuit.parts))
