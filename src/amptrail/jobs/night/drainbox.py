"""The fuses of a whole vehicle at rest on one page: millivolts as amps, beside what the sheet expects.

A fuse is its own shunt: amps are its millivolts over its cold resistance (from the sheet, else from the
fuse table with its source). 0.1 mV on a 15 A blade is 21 mA, so a fuse finds 200 mA and never proves 20.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from amptrail.circuit.model import Circuit, Fault, Part, Supply, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.tables import number
from amptrail.circuit.wiring import wiring
from amptrail.errors import one
from amptrail.faults.metal import beyond_fuse, links, touching
from amptrail.instruments import by_name
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.spots import battery_plus
from amptrail.reference.fuse import cold_ohm, fuses

FUSES = ("fuse", "link", "polyfuse")
USERS = ("module", "lamp", "led", "motor", "solenoid", "heater", "ptc", "load", "starter", "alternator",
         "relay", "sensor", "resistor")  # fmt: skip
Z90 = 1.6448536269514722  # 5 to 95 % of a normal distribution
TOO_MUCH_A, TOO_MUCH_SHARE = 0.01, 0.5  # above what is expected, to be too much (common practice)


Summed = tuple[float, float, float, tuple[str, ...]]  # amps, low, high, fuses not read


@dataclass(frozen=True, slots=True)
class Read:
    """Amps with their 5 to 95 % band, and the reading they come from."""

    amps: float
    low: float
    high: float
    line: int
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class FuseRow:
    """One fuse of the box. `above`: the fuse it is fed through. Amps as the sound vehicle sleeps, and what
    its modules take while awake."""

    part: Part
    ohm: float
    source: str
    behind: tuple[str, ...]
    above: str | None
    expected_a: float
    awake_a: float
    read: Read | None
    boots: tuple[str, ...] = ()  # modules supplied through it

    @property
    def verdict(self) -> str:
        """Not read, as expected, or too much."""
        if self.read is None:
            return "not read"
        limit = self.expected_a + max(TOO_MUCH_A, TOO_MUCH_SHARE * self.expected_a)
        return "too much" if self.read.low > limit else "as expected"


def asleep(circuit: Circuit) -> int:
    """Index of the phase in which the vehicle sleeps; InputError when the cycle has none."""
    found = next((i for i, p in enumerate(drive_cycle(circuit)) if p.base == "asleep"), None)
    if found is None:
        raise one(
            "no-sleep", "no phase of this sheet sleeps", remedy="add a line such as: phase asleep 3600 s"
        )
    return found


def resistance(part: Part) -> tuple[float, str]:
    """Cold ohms of a fuse, and how they are known."""
    if part.said("ohm") is not None:
        return number(part, "ohm"), "the sheet"
    rating = number(part, "rating_a") if part.kind != "polyfuse" else 0.0
    if part.kind != "fuse":
        return number(part, "ohm"), "usual for its kind (common practice)"
    known = next(
        (f for f in (*fuses(), *fuses("maxi")) if f.rating_a == rating and f.cold_ohm is not None), None
    )
    return cold_ohm(rating), known.source if known is not None else "77 mV over its rating (computed)"


def clamped(seen: Sequence[Observation], phase: int, names: Sequence[str]) -> Read | None:
    """The last clamp reading at rest around the lead of one of these parts."""
    for o in reversed(seen):
        mine = o.spot is not None and key(o.spot.a.part) in {key(n) for n in names}
        if mine and o.tool == "clamp" and o.phase == phase and _plain(o):
            wide = Z90 * by_name(o.instrument).sigma(o.value)
            return Read(abs(o.value), max(abs(o.value) - wide, 0.0), abs(o.value) + wide, o.line)
    return None


def _plain(o: Observation) -> bool:
    return o.conditions.as_told == Conditions() and o.kind in ("number", "range")


def _read(seen: Sequence[Observation], phase: int, part: Part, ohm: float) -> Read | None:
    for o in reversed(seen):
        mine = o.spot is not None and key(o.spot.a.part) == key(part.name) and o.phase == phase and _plain(o)
        if mine and o.tool == "fuse-drop":
            wide = Z90 * by_name(o.instrument).sigma(o.value)
            volts = abs(o.value)
            return Read(volts / ohm, max(volts - wide, 0.0) / ohm, (volts + wide) / ohm, o.line, o.value)
    return clamped(seen, phase, [part.name])


def _behind(circuit: Circuit, part: Part) -> tuple[str, ...]:
    """What this fuse feeds itself, up to the next fuses."""
    met = touching(circuit)
    found = [p for n in beyond_fuse(circuit, part) for p in met.get(n, ()) if p.kind in USERS]
    return tuple(dict.fromkeys(p.name for p in found if p.name != part.name))


def _above(circuit: Circuit, part: Part, every: Sequence[Part]) -> str | None:
    """The fuse that feeds this one."""
    w = wiring(circuit)
    ends = {w.node(Term(part.name, t)) for t in ("in", "out")}
    own = set(beyond_fuse(circuit, part))
    for other in every:
        if other.name != part.name and set(beyond_fuse(circuit, other)) & (ends - own):
            return other.name
    return None


def _supplied(circuit: Circuit, part: Part) -> tuple[Supply, ...]:
    """Supply pins that this fuse feeds."""
    fed, w = set(beyond_fuse(circuit, part)), wiring(circuit)
    return tuple(x for x in circuit.modules if isinstance(x, Supply) and w.node(Term(x.module, x.pin)) in fed)


def box(circuit: Circuit, seen: Sequence[Observation], faults: tuple[Fault, ...] = ()) -> tuple[FuseRow, ...]:
    """Every fuse of the sheet, in its order."""
    phase = asleep(circuit)
    sound = solving.solved(circuit, [faults], Conditions(), keep=False)
    every = [p for p in circuit.parts if p.kind in FUSES]
    plus = battery_plus(circuit)
    battery = next(p for p in circuit.parts if p.name == plus.part)
    volts = number(battery, "emf_v")
    rows = []
    for p in every:
        ohm, source = resistance(p)
        behind, pins = _behind(circuit, p), _supplied(circuit, p)
        awake_a = sum(volts / x.awake_ohm for x in pins if x.awake_ohm)
        asleep_a = abs(float(sound.amps(p.name, phase)[0]))
        rows.append(
            FuseRow(p, ohm, source, behind, _above(circuit, p, every), asleep_a, awake_a,
                    _read(seen, phase, p, ohm), tuple(dict.fromkeys(x.module for x in pins)))
        )  # fmt: skip
    return tuple(rows)


def unfused(circuit: Circuit) -> tuple[str, ...]:
    """What hangs on the battery without any fuse between."""
    plus = battery_plus(circuit)
    n = wiring(circuit).node(plus)
    if n is None:
        return ()
    cut = [p.name for p in circuit.parts if p.kind in FUSES]
    met = touching(circuit)
    near = _open_reach(circuit, n, frozenset(cut))
    users = [p.name for m in near for p in met.get(m, ()) if p.kind in USERS]
    return tuple(dict.fromkeys(users))


def _open_reach(circuit: Circuit, start: int, without: frozenset[str]) -> list[int]:
    """Metals joined to the battery post by wires and joints, no fuse passed."""
    reached = [start]
    for node in reached:
        for part, m, n in links(circuit):
            for here, there in ((m, n), (n, m)):
                if here == node and part not in without and there not in reached:
                    reached.append(there)
    return reached


def explained(rows: Sequence[FuseRow]) -> Summed:
    """Amps through the fuses read, each current once, with their band, and the fuses nobody has read.

    A fuse above others counts for them when it was read itself.
    """
    below: dict[str, list[FuseRow]] = {}
    for r in rows:
        if r.above is not None:
            below.setdefault(r.above, []).append(r)

    def of(r: FuseRow) -> Summed:
        if r.read is not None:
            return r.read.amps, r.read.low, r.read.high, ()
        under = below.get(r.part.name, [])
        # a link that only feeds other fuses need not be read itself
        return _summed([of(x) for x in under], (r.part.name,) if not under or r.behind else ())

    return _summed([of(r) for r in rows if r.above is None], ())


def _summed(parts: Sequence[Summed], alone: tuple[str, ...]) -> Summed:
    """Currents and bands added up, names joined."""
    names = (*alone, *(n for x in parts for n in x[3]))
    return sum(x[0] for x in parts), sum(x[1] for x in parts), sum(x[2] for x in parts), names
