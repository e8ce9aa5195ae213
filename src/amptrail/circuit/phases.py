"""The drive cycle when a sheet gives none, and the positions switches take by themselves."""

from __future__ import annotations

from collections.abc import Iterable

from amptrail.circuit import tables
from amptrail.circuit.model import Base, Circuit, Part, Phase, key

STANDARD: tuple[Phase, ...] = (
    Phase("ignition-on", "ignition-on", 10.0),
    Phase("cranking", "cranking", 3.0),
    Phase("running", "running", 300.0),
    Phase("after-run", "after-run", 30.0),
    Phase("asleep", "asleep", 3600.0),
)

DEFAULT_SECONDS: dict[Base, float] = {
    "asleep": 3600.0, "awake": 60.0, "ignition-on": 10.0, "cranking": 3.0, "running": 300.0,
    "after-run": 30.0,
}  # fmt: skip

# Which position a positional switch takes in a phase of this base, first match wins (common practice).
POSITION_IN: dict[Base, tuple[str, ...]] = {
    "asleep": ("off", "0", "lock"),
    "awake": ("acc", "off", "0"),
    "ignition-on": ("on", "run", "1", "ignition"),
    "cranking": ("start", "crank", "on"),
    "running": ("on", "run", "1", "ignition"),
    "after-run": ("off", "0", "lock"),
}


def drive_cycle(circuit: Circuit) -> tuple[Phase, ...]:
    """The phases of one drive cycle, in order."""
    return circuit.phases or STANDARD


def meant(circuit: Circuit, said: str) -> tuple[Phase, ...]:
    """The phases a name stands for: the one called so, else all that stand on the base called so."""
    cycle = drive_cycle(circuit)
    named = tuple(p for p in cycle if key(p.name) == key(said))
    return named or tuple(p for p in cycle if key(p.base) == key(said))


def names_phase(circuit: Circuit, phase: Phase | None, names: Iterable[str]) -> bool:
    """Is this phase among those the names stand for? None is the car switched off, called `off`."""
    if phase is None:
        return any(key(n) == "off" for n in names)
    return any(key(phase.name) == key(p.name) for n in names for p in meant(circuit, n))


def closed(circuit: Circuit, part: Part, phase: Phase | None) -> bool:
    """Is a simple switch closed by itself in this phase?"""
    given = tables.value(part, "closed_in")
    return isinstance(given, tuple) and names_phase(circuit, phase, given)


def turning(circuit: Circuit, part: Part, phase: Phase | None) -> bool:
    """Does the engine turn this alternator in this phase? Unsaid: in every phase that stands on running."""
    given = part.said("spins_in")
    if isinstance(given, tuple):
        return phase is not None and names_phase(circuit, phase, given)
    return phase is not None and phase.base == "running"


def cranked(circuit: Circuit, battery: Part, phase: Phase | None) -> bool:
    """Does the starter, as a resistance across this battery, turn in this phase? Unsaid: on base cranking."""
    given = battery.said("spins_in")
    if isinstance(given, tuple):
        return phase is not None and names_phase(circuit, phase, given)
    return phase is not None and phase.base == "cranking"


def sleeping(circuit: Circuit) -> Phase:
    """The sleeping phase: the last (or first) on base asleep; else the last phase."""
    cycle = drive_cycle(circuit)
    if cycle[-1].base == "asleep":
        return cycle[-1]
    for phase in cycle:
        if phase.base == "asleep":
            return phase
    return cycle[-1]


def seconds(phase: Phase) -> float:
    """Duration in seconds, the base's default when the sheet gives none."""
    return phase.duration_s if phase.duration_s is not None else DEFAULT_SECONDS[phase.base]


def position(circuit: Circuit, switch: str, positions: tuple[str, ...], phase: Phase) -> str:
    """The position a positional switch has in a phase: as stated, else by base, else its first. One that
    some phase puts where its base would have put it anyway is worked by hand: unsaid it rests, but for the
    ignition switch."""
    for part, at in phase.at:
        if key(part) == key(switch):
            return at
    base: Base = "asleep" if _by_hand(circuit, switch, positions) else phase.base
    return _by_base(positions, base)


def _by_base(positions: tuple[str, ...], base: Base) -> str:
    known = {key(p): p for p in positions}
    return next((known[c] for c in POSITION_IN[base] if c in known), positions[0])


def _by_hand(circuit: Circuit, switch: str, positions: tuple[str, ...]) -> bool:
    """Would the words `with LAMPS at on` of some phase say nothing if the switch went with the key?"""
    rest = _by_base(positions, "asleep")
    said = [(p.base, at) for p in drive_cycle(circuit) for part, at in p.at if key(part) == key(switch)]
    if not any(key(at) == key(_by_base(positions, base)) != key(rest) for base, at in said):
        return False
    part = next((p for p in circuit.parts if key(p.name) == key(switch)), None)
    return part is None or not _ignition(part, positions)


def _ignition(part: Part, positions: tuple[str, ...]) -> bool:
    """The ignition switch: it makes terminal 15 or 50 (DIN 72552), can crank, or is called so."""
    makes = {t for c in part.contacts for t in (c.a, c.b) if t[:2] in ("15", "50")}
    turns = {key(p) for p in positions} & {"start", "crank", "acc", "ignition"}
    return bool(makes or turns) or key(part.name).startswith(("key", "ign"))
