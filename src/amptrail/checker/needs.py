"""What a proof must hold: rules, starts, corners and stories of a purpose, worked out again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import MappingProxyType

from amptrail.checker import living, loading
from amptrail.checker.data import StoryKey
from amptrail.checker.shape import Shape
from amptrail.checker.told import Mark, Told
from amptrail.checker.vehicle import Job
from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Driver, Part, key
from amptrail.circuit.phases import drive_cycle, sleeping
from amptrail.errors import InputError
from amptrail.twin.elements import wire_ohm
from amptrail.twin.starts import plan

Rule = Callable[[Told], Iterator[Mark]]
# in the order of the JSON contract, those without a name there at the end
RULES: tuple[Rule, ...] = (
    loading.refuse_list, loading.no_fuse_at_source, loading.dead_short_not_cleared, loading.wire_rating,
    living.restores_from_asleep, living.dead_lock, living.off_when_required, living.after_run, living.sleeps,
    living.sleep_current, living.self_holding, living.permanently_on, living.restarts, living.back_feed,
    loading.driver_overcurrent, living.chatter, loading.fuse_opens, loading.fuse_80_percent,
    loading.relay_make, loading.relay_carry, living.voltage_drop, living.interlock, living.stop_function,
    living.works_fitted_awake, living.on_time, loading.old_path, loading.source_load,
    loading.adiabatic_ground, loading.joint_heat, loading.suppression,
)  # fmt: skip
NAMES = tuple(r.__name__ for r in RULES)
# broken in a try that somebody attends, these are told and not refused
NOTED_IN_A_TRY = frozenset({
    "adiabatic_ground", "after_run", "fuse_80_percent", "joint_heat", "old_path", "sleep_current",
    "source_load", "suppression", "voltage_drop",
})  # fmt: skip
NAMED = (
    "restart-in-after-run", "aborted-crank", "stall", "key-off-turning", "battery-reconnected",
    "unlock-without-start",
)  # fmt: skip
COLD_V, HOT_V, USUAL_V = 10.5, 15.0, 12.6


def refuses(m: Mark, purpose: str) -> bool:
    """Whether a broken mark refuses a feed for a purpose."""
    return m.weight == "refuse" and not (purpose == "try" and m.rule in NOTED_IN_A_TRY)


def starts(sheet: Circuit) -> tuple[str, ...]:
    """Asleep, fitted in each waking phase, and the named ones the phases allow."""
    bed = sleeping(sheet)
    cycle = drive_cycle(sheet)
    awake = [f"awake:{p.name}" for p in cycle if p != bed and p.base not in ("asleep", "after-run")]
    named = []
    for name in NAMED:
        try:
            plan(sheet, name, 1)
        except InputError:
            continue
        named.append(name)
    return ("asleep", *awake, *named)


def stories(job: Job, shape: Shape, corners: tuple[str, ...]) -> Iterator[StoryKey]:
    """Every story that must be there, nominal first."""
    sheet = job.sheet
    switches = tuple(dict.fromkeys(i.switch for i in sheet.interlocks))
    others = [p.name for p in sheet.parts if p.kind == "switch"]
    others += [f"{x.module}.{x.name}" for x in sheet.modules if isinstance(x, Driver)]
    for corner in corners:
        every = starts(sheet) if corner == "nominal" else plain_starts(sheet)
        for start in every:
            for vehicle in ("healthy", "faulty", "fed"):
                yield StoryKey(corner, vehicle, start)
            if start in plain_starts(sheet):
                yield from (StoryKey(corner, v, start, h) for h in switches for v in ("healthy", "fed"))
    known = {key(s) for s in switches}
    for held in others:
        if key(held) not in known:
            yield from (StoryKey("nominal", v, "asleep", held) for v in ("healthy", "fed"))
    for word in ("cold", "inrush", "half"):
        yield from (StoryKey("nominal", v, "asleep", None, word) for v in ("fed", "healthy"))
    told = Told(job, shape, {}, "nominal", "leave")
    for c in shape.chains:
        if not c.coil and not shape.ends_on_ground(c):
            yield StoryKey("nominal", "fed", "asleep", None, f"short {c.name}")
    for name in loading.ground_copper(told) if loading.ground_chains(told) else ():
        yield StoryKey("nominal", "fed", "asleep", None, f"lost {name}")


def plain_starts(sheet: Circuit) -> tuple[str, ...]:
    """Asleep, and fitted in each waking phase."""
    return tuple(s for s in starts(sheet) if s == "asleep" or s.startswith("awake:"))


# ---- the worst case: NUMERICS, "Worst case" ---------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Range:
    """One number and its two ends; `said`: the sheet states it."""

    low: float
    high: float
    said: bool


SHARES = MappingProxyType({"wire": (0.95, 1.05), "contact": (0.5, 3.0), "coil": (0.9, 1.375)})
JOINTS = ("joint", "connector", "box", "splice", "ground", "switch")
# ends that keep everything on, and ends that let nothing come on
HOLDING = {"emf_v": 1, "drop_v": -1, "coil_ohm": -1, "ohm": -1, "contact_ohm": -1}
WEAK = {"emf_v": -1, "pull_v": 1, "coil_ohm": 1, "ohm": 1, "contact_ohm": 1, "limit_a": -1}


def _volts(job: Job) -> float:
    """1 for 12 V, 2 for 24 V."""
    emfs = [tables.number(p, "emf_v") for p in job.fed.parts if p.kind in ("battery", "alternator")]
    return max(1.0, float(round(max(emfs, default=USUAL_V) / USUAL_V)))


def _of_part(job: Job, p: Part) -> Iterator[tuple[str, Range]]:
    scale = _volts(job)

    def around(value: float, shares: tuple[float, float], said: bool = True) -> Range:
        return Range(value * shares[0], value * shares[1], said)

    if p.kind in ("battery", "alternator"):
        emf = tables.number(p, "emf_v")
        low, high = (11.5, 12.8) if p.kind == "battery" else (13.2, 14.8)
        said = p.said("emf_v") is not None
        yield "emf_v", Range(min(emf, low * scale), max(emf, high * scale), said)
    if p.kind in ("relay", "starter"):
        pull, drop = tables.number(p, "pull_v"), tables.number(p, "drop_v")
        yield "pull_v", Range(0.75 * pull, max(pull, 9.0 * scale), p.said("pull_v") is not None)
        yield "drop_v", Range(min(drop, 1.2 * scale), max(drop, 6.0 * scale), p.said("drop_v") is not None)
        yield "contact_ohm", around(tables.number(p, "contact_ohm"), SHARES["contact"])
    if p.kind == "relay":
        yield "coil_ohm", around(tables.number(p, "coil_ohm"), SHARES["coil"], p.said("coil_ohm") is not None)
    if p.kind == "wire":
        stated = p.said("ohm") is not None or None not in (p.said("length_m"), p.said("area_mm2"))
        wide = SHARES["wire"] if stated else (0.95 * 0.5, 1.05 * 2.0)
        yield "ohm", around(wire_ohm(p), wide, stated)
    if p.kind in JOINTS:
        yield "ohm", around(tables.number(p, "ohm"), SHARES["contact"])


def _ranges(job: Job) -> dict[str, Range]:
    found = {f"{p.name} {name}": r for p in job.fed.parts for name, r in _of_part(job, p)}
    for x in job.fed.modules:
        if isinstance(x, Driver) and x.limit_a is not None:
            found[f"{x.module}.{x.name} limit_a"] = Range(0.8 * x.limit_a, 1.2 * x.limit_a, True)
    return found


def corners(job: Job) -> dict[str, dict[str, float]]:
    """Corners that every proof must have: 10.5 V cold, 15 V hot, nothing lets go, nothing comes on."""
    scale = _volts(job)
    supplies = [p.name for p in job.fed.parts if p.kind in ("battery", "alternator")]
    found = {
        "cold": {f"{n} emf_v": COLD_V * scale for n in supplies},
        "hot": {f"{n} emf_v": HOT_V * scale for n in supplies},
    }
    for name, ends in (("nothing lets go", HOLDING), ("nothing comes on", WEAK)):
        found[name] = {
            told: r.low if ends[attribute] < 0 else r.high
            for told, r in _ranges(job).items()
            if r.said and (attribute := told.rpartition(" ")[2]) in ends
        }
    return {n: v for n, v in found.items() if v}


__all__ = ["NAMES", "RULES", "corners", "plain_starts", "refuses", "starts", "stories"]
