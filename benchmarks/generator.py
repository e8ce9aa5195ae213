"""Vehicles that never existed: circuits of any size from a seed, with faults and readings to try the
program on.

`sheet_text(size, seed)` writes a sheet the way a technician would (one function after another, sharing fuse
boxes, splices, grounds and plugs) and `generate` parses it, so that whatever is measured here has also come
through the notation. `size` counts parts and cavities together and is reached exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from random import Random

from amptrail.circuit.model import BODY, Circuit, Fault, Part, Term
from amptrail.circuit.phases import drive_cycle
from amptrail.sheet import parse
from benchmarks.blocks import BLOCKS, SMALL_BLOCKS, Block
from benchmarks.vehicle import Vehicle

Reader = Callable[[Circuit, tuple[Fault, ...], Term, str, str], float]
SIZES = (30, 60, 500, 2000)


def _modules_for(size: int) -> int:
    """One to six modules in a vehicle of ordinary size, about one in 33 parts, 60 for 2,000."""
    return 1 if size < 100 else min(60, max(2, size * 3 // 100))


def sheet_text(size: int, seed: int) -> str:
    """A sheet of exactly `size` parts and cavities (at least 30), the same for the same seed."""
    if size < 30:
        raise ValueError("a generated vehicle has at least 30 parts")
    v = Vehicle(Random(f"{size}/{seed}"), size)
    v.frame(_modules_for(size))
    todo: list[Block] = []
    pool = SMALL_BLOCKS if size < 60 else BLOCKS
    while True:
        if not todo:
            todo = list(pool)
            v.rng.shuffle(todo)
        block = todo.pop()
        if block.once and block.name in v.done:
            continue
        if v.count + block.parts > size:
            if all(v.count + b.parts > size for b in pool if not (b.once and b.name in v.done)):
                break
            continue
        v.done.add(block.name)
        block.build(v)
    while v.count < size:
        v.panel_lamp()
    return v.text()


def mesh_text(side: int) -> str:
    """A vehicle whose metal is a mesh of side x side ground points, each joined to its neighbours by a strap,
    with a lamp on every fifth: where an order of least degree fills in. `side` 20: 400 points."""
    rng = Random(f"mesh/{side}")
    lines = ["phase asleep 60 s", "phase ignition-on 10 s", "battery BAT 12.6 V 10 mohm"]
    lines += ["fuse F1 100 A", "switch SW closed in ignition-on"]
    lines += [f"splice M{r}_{c}" for r in range(side) for c in range(side)]
    paths = [
        "path BAT.+ -- F1 -- SW -- [WF: RD 25 mm2 1 m] -- S",
        "path BAT.- -- [WG: BK 25 mm2 0.5 m] -- M0_0",
    ]
    lines.append("splice S")
    count = 0
    for r in range(side):
        for c in range(side):
            for other in ((r, c + 1), (r + 1, c)):
                if max(other) < side:
                    count += 1
                    metres = round(rng.uniform(0.1, 0.6), 2)
                    paths.append(
                        f"path M{r}_{c} -- [W{count}: BK 6 mm2 {metres} m] -- M{other[0]}_{other[1]}"
                    )
            if (r * side + c) % 5 == 4:
                lines.append(f"lamp L{r}_{c} 12 V 5 W")
                paths.append(f"path S -- L{r}_{c} -- M{r}_{c}")
    return "\n".join([*lines, *paths]) + "\n"


@lru_cache(maxsize=2)
def mesh(side: int) -> Circuit:
    """The parsed circuit of `mesh_text(side)`."""
    return parse(mesh_text(side), f"generated mesh {side}")


@lru_cache(maxsize=16)
def generate(size: int, seed: int) -> Circuit:
    """The parsed circuit of `sheet_text(size, seed)`."""
    return parse(sheet_text(size, seed), f"generated {size}/{seed}")


def _log_uniform(rng: Random, low: float, high: float) -> float:
    return float(low * (high / low) ** rng.random())


def _of_part(rng: Random, part: Part) -> Fault:
    """A fault such a part really has; severities in ohms, log-uniform."""
    at = Term(part.name, "")
    if part.kind == "relay":
        mode = rng.choice(("stuck_on", "stuck_off", "coil"))
        if mode == "coil":
            return Fault("open", Term(part.name, "coil"))
        return Fault("stuck_on" if mode == "stuck_on" else "stuck_off", at)
    if part.kind == "module":
        return Fault("module_dead", at)
    if part.kind == "switch" and not part.contacts:
        return Fault(rng.choice(("stuck_on", "stuck_off")), at)
    if part.kind == "ground":
        return Fault("resistance", at, ohm=_log_uniform(rng, 0.1, 30.0))
    if part.kind == "motor" and rng.random() < 0.3:
        return Fault("seized", at)
    if part.kind == "wire" and rng.random() < 0.4:
        if rng.random() < 0.5:
            return Fault("to_ground", Term(part.name, "out"), ohm=_log_uniform(rng, 0.02, 200.0))
        return Fault("resistance", at, ohm=_log_uniform(rng, 0.05, 100.0))
    return Fault("open", at)


def _one(rng: Random, circuit: Circuit, parts: list[Part]) -> Fault:
    """One fault: a cavity in about a quarter of the cases, else a part."""
    if circuit.cavities and rng.random() < 0.25:
        cavity = rng.choice(circuit.cavities)
        at = Term(cavity.connector, cavity.name)
        if rng.random() < 0.5:
            return Fault("open", at)
        return Fault("resistance", at, ohm=_log_uniform(rng, 0.1, 50.0))
    return _of_part(rng, rng.choice(parts))


_BLAMABLE = (
    "wire", "fuse", "ground", "relay", "switch", "lamp", "motor", "heater", "solenoid", "resistor", "joint",
    "module",
)  # fmt: skip


def faults(circuit: Circuit, n: int, seed: int, doubles: float = 0.2) -> tuple[tuple[Fault, ...], ...]:
    """`n` hidden truths, each of one fault, or of two in the share `doubles` of them."""
    rng = Random(f"faults/{seed}")
    parts = [p for p in circuit.parts if p.kind in _BLAMABLE and not (p.kind == "switch" and p.contacts)]
    found: list[tuple[Fault, ...]] = []
    for _ in range(n):
        first = _one(rng, circuit, parts)
        if rng.random() < doubles:
            second = _one(rng, circuit, parts)
            while second.at == first.at:
                second = _one(rng, circuit, parts)
            found.append((first, second))
        else:
            found.append((first,))
    return tuple(found)


def points(circuit: Circuit) -> tuple[Term, ...]:
    """Every terminal a path passes, once, in the order of the sheet; the metal itself left out."""
    seen: dict[Term, None] = {}
    for path in circuit.paths:
        for hop in path.hops:
            for name in (hop.a, hop.b):
                if hop.part:
                    seen[Term(hop.part, name)] = None
    seen.pop(BODY, None)
    return tuple(seen)


def readings(
    circuit: Circuit, hidden: tuple[Fault, ...], n: int, seed: int, read: Reader, instrument: str = "meter"
) -> tuple[str, ...]:
    """`n` lines of a readings file at random points and phases. `read(circuit, faults, point, phase,
    instrument)` gives the volts the vehicle would show; 0.5 % of noise and 10 mV of resolution are added."""
    rng = Random(f"readings/{seed}")
    everywhere = points(circuit)
    phases = [p.name for p in drive_cycle(circuit)]
    lines = []
    for _ in range(n):
        point, phase = rng.choice(everywhere), rng.choice(phases)
        volts = read(circuit, hidden, point, phase, instrument) * (1 + rng.gauss(0.0, 0.005))
        lines.append(f"{point} in {phase} {instrument} {volts:.2f} V")
    return tuple(lines)
