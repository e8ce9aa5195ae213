"""The order of tests on a vehicle that must be asleep: what wakes nothing first, and every clock it restarts.

A module boots when its supply comes back (common practice), and its timer begins anew: a fuse that feeds one
is pulled once, last, and stays out until the current is read. What only lights a lamp restarts nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from amptrail.circuit.model import And, Circuit, Expr, Held, Not, Or, Pulsed, Says, Signal, Term, key
from amptrail.jobs.judging.cautions import cautions_for
from amptrail.jobs.judging.desk import INTO_PHASE_MIN
from amptrail.jobs.judging.lines import reading_line
from amptrail.jobs.judging.panel import Candidate
from amptrail.jobs.night.drainbox import FuseRow, asleep
from amptrail.jobs.solved.access import place_minutes, start_place, travel_minutes
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.spots import Spot, battery_plus

MEASURE_MIN, CLAMP_MIN, PULL_MIN = 0.3, 1.0, 0.5  # common practice


@dataclass(frozen=True, slots=True)
class Step:
    """One test: its line, minutes, whether clocks start again when it is undone, and the wait then."""

    what: str  # measure or pull
    fuse: str | None
    line: str
    minutes: float
    restarts: tuple[str, ...]  # modules that boot when the fuse goes back
    wait_min: float
    why: str
    cautions: tuple[str, ...]


def _holds(e: Expr) -> Iterator[float]:
    if isinstance(e, (Held, Pulsed)):
        yield e.seconds
        yield from _holds(e.of)
    elif isinstance(e, Not):
        yield from _holds(e.of)
    elif isinstance(e, (And, Or)):
        for x in e.of:
            yield from _holds(x)


def _asks(e: Expr) -> Iterator[str]:
    """Modules whose messages an expression hears."""
    if isinstance(e, Says):
        yield e.module
    elif isinstance(e, (Held, Pulsed, Not)):
        yield from _asks(e.of)
    elif isinstance(e, (And, Or)):
        for x in e.of:
            yield from _asks(x)


def wait_min(circuit: Circuit, modules: Sequence[str]) -> tuple[float, str]:
    """Minutes until these modules, and those that keep them awake, sleep again; and how that is known."""
    awake = {key(x.module): x for x in circuit.modules if isinstance(x, Signal) and key(x.name) == "awake"}
    met = list(dict.fromkeys(key(m) for m in modules))
    for m in met:
        met += [k for k in map(key, _asks(awake[m].expr)) if k not in met] if m in awake else []
    told = [s for m in met if m in awake for s in _holds(awake[m].expr)]
    usual = INTO_PHASE_MIN["asleep"]
    if told:
        return max(told) / 60.0, "the longest time the sheet gives"
    return usual, "not in the sheet; common practice, 10 to 30 min seen"


def _clamp(circuit: Circuit, conditions: Conditions, place: str, minutes: float) -> Candidate:
    battery = battery_plus(circuit).part
    spot = Spot(battery, "amps", Term(battery, ""))
    return Candidate(spot, "clamp", asleep(circuit), conditions, place, minutes, "clamp")


def across(circuit: Circuit, fuse: str, place: str) -> Candidate:
    """The millivolts across a fuse that stays in."""
    spot = Spot(fuse, "volts", Term(fuse, "in"), Term(fuse, "out"))
    return Candidate(spot, "fuse-drop", asleep(circuit), Conditions(), place, MEASURE_MIN, "fuse-top")


def _at(circuit: Circuit, place: str, here: str) -> float:
    """Minutes to get there, and to lay it open the first time."""
    return travel_minutes(circuit, here, place) + (
        0.0 if key(place) == key(here) else place_minutes(circuit, place)
    )


def steps(
    circuit: Circuit, rows: Sequence[FuseRow], clamp_read: bool, keeping: Mapping[str, float]
) -> Iterator[Step]:
    """What to do next, in order: the clamp, millivolts, then pulls; first of what most likely keeps the
    others awake (`keeping`: probability by module), which need not be where most flows."""
    here = start_place(circuit)
    if not clamp_read:
        t = _clamp(circuit, Conditions(), here, CLAMP_MIN)
        why = "the whole current, to hold the fuses against"
        yield Step(
            "measure",
            None,
            reading_line(circuit, t),
            CLAMP_MIN,
            (),
            0.0,
            why,
            tuple(cautions_for(circuit, t, ())),
        )
    # 0.1 mV on a link is 100 mA: the clamp tells more
    todo = [r for r in rows if r.read is None and (r.part.kind == "fuse" or r.behind)]
    for r in sorted(todo, key=lambda r: _at(circuit, r.part.place or here, here)):
        place = r.part.place or here
        t = across(circuit, r.part.name, place)
        minutes = MEASURE_MIN + _at(circuit, place, here)
        here = place
        why = f"nothing is touched but its tabs: {', '.join(r.behind[:3]) or 'nothing'} behind it"
        yield Step("measure", r.part.name, reading_line(circuit, t), minutes, (), 0.0, why,
                   tuple(cautions_for(circuit, t, ())))  # fmt: skip
    yield from _pulls(circuit, rows, here, keeping)


def _pulls(
    circuit: Circuit, rows: Sequence[FuseRow], here: str, keeping: Mapping[str, float]
) -> Iterator[Step]:
    worth = [r for r in rows if r.part.kind == "fuse" and r.verdict == "too much"]
    amps = {r.part.name: r.read.amps if r.read is not None else 0.0 for r in worth}

    def order(r: FuseRow) -> tuple[bool, float, float]:
        return bool(r.boots), -sum(keeping.get(m, 0.0) for m in r.boots), -amps[r.part.name]

    for r in sorted(worth, key=order):
        place, mine = r.part.place or here, r.boots
        t = _clamp(circuit, Conditions(pulled=(r.part.name,)), place, PULL_MIN)
        wait, known = wait_min(circuit, mine) if mine else (0.0, "")
        minutes = PULL_MIN + CLAMP_MIN + _at(circuit, place, here)
        here = place
        why = f"{amps[r.part.name] * 1000:.0f} mA flow here"
        if (keeps := sum(keeping.get(m, 0.0) for m in mine)) >= 0.5:
            why += f", and {' and '.join(mine)} most likely keeps the others awake"
        elif keeping and keeps < 0.1 and mine:
            why += f", but {' and '.join(mine)} is most likely kept awake by another"
        if mine:
            why += (
                f"; leave it out until all is read: {', '.join(mine)} boots when it goes back, and the wait"
            )
            why += f" of {wait:.0f} min starts again ({known})"
        yield Step("pull", r.part.name, reading_line(circuit, t), minutes, mine, wait, why,
                   tuple(cautions_for(circuit, t, ())))  # fmt: skip
