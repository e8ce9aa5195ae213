"""A recording laid beside what the sheet predicts, and beside what a repair or a feed must show.

Predictions come in as plain bands; nothing here solves. A channel that was not recorded shows nothing: it
is never a pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from amptrail.recording.phases import Feature

NEAR_V, NEAR_A = 0.15, 0.2  # a scope's own error on a 20 V and a 20 A range (common practice: 8 bit, 1 %)


@dataclass(frozen=True, slots=True)
class Band:
    """What a point reads in a phase: low..high, and the phase's name in the sheet."""

    phase: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Beside:
    """A level of the recording beside its band."""

    channel: str
    point: str
    phase: str
    reads: float
    low: float
    high: float
    agrees: bool
    words: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """A figure that must be shown: at a point, in phases of that kind, at least or at most.

    `lacks`: which end had no channel; enough volts at the other end then show nothing, too few still do.
    `blurred`: phases of the sheet that no recording tells from others (speed one from speed two).
    """

    words: str
    point: str
    phases: tuple[str, ...]
    at_least: float | None = None
    at_most: float | None = None
    lacks: str = ""
    blurred: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Tick:
    """A wanted figure: `shown` True or False by the recording, None where it shows nothing of it."""

    words: str
    shown: bool | None
    by: str


def near(unit: str) -> float:
    """What a scope itself may be off, in the unit of a channel."""
    return NEAR_A if unit == "A" else NEAR_V


def beside(
    found: Sequence[Feature],
    points: Mapping[str, str],
    bands: Mapping[tuple[str, str], Sequence[Band]],
    units: Mapping[str, str],
) -> tuple[Beside, ...]:
    """Every level beside its band. `points`: channel -> point; `bands`: (point, base phase) -> the band of
    each phase of the sheet that stands on that base: the one it fits best is the one it was in."""
    out: list[Beside] = []
    for f in found:
        point = points.get(f.channel)
        known = bands.get((point or "", f.phase))
        if point is None or not known:
            continue
        level = f.level
        band = min(known, key=lambda b: max(b.low - level, level - b.high, 0.0))
        unit = units.get(f.channel, "V")
        room = near(unit) + 2 * f.noise / 4
        agrees = band.low - room <= f.level <= band.high + room
        reads = f"{point} reads {f.level:.2f} {unit} in {band.phase}"
        words = reads if agrees else f"{reads}, the sheet says {band.low:.2f} to {band.high:.2f}"
        out.append(Beside(f.channel, point, band.phase, f.level, band.low, band.high, agrees, words))
    return tuple(out)


def ticked(found: Sequence[Feature], points: Mapping[str, str], wanted: Sequence[Wanted]) -> tuple[Tick, ...]:
    """Each wanted figure ticked from the recording, in words."""
    at = {p: c for c, p in points.items()}
    out: list[Tick] = []
    for w in wanted:
        channel = at.get(w.point)
        mine = [f for f in found if f.channel == channel and f.phase in w.phases]
        if channel is None:
            out.append(Tick(w.words, None, f"not shown: no channel at {w.point}"))
            continue
        if not mine and w.blurred:
            out.append(
                Tick(w.words, None, f"not shown: no recording tells {' or '.join(w.blurred)} by itself")
            )
            continue
        if not mine:
            out.append(Tick(w.words, None, f"not shown: the recording has no {' or '.join(w.phases)}"))
            continue
        # a level at the end decides; a dip in between is told, because a function may bear it or not.
        # A load fed backwards is not off either: below a limit the size of the volts counts
        if w.at_least is not None:
            worst, level = min(f.low for f in mine), min(f.level for f in mine)
        else:
            worst = max((x for f in mine for x in (f.low, f.high)), key=abs)
            level = max((f.level for f in mine), key=abs)
        good = (w.at_least is None or level >= w.at_least) and (w.at_most is None or abs(level) <= w.at_most)
        absent = [p for p in w.phases if all(f.phase != p for f in mine)]
        if good and w.blurred:
            by = f"not shown: no recording tells {' or '.join(w.blurred)} by itself"
            out.append(Tick(w.words, None, f"{by}; {w.point} {level:.2f} elsewhere"))
            continue
        if good and absent:
            by = f"not shown: the recording has no {' and no '.join(absent)}; {w.point} {level:.2f} elsewhere"
            out.append(Tick(w.words, None, by))
            continue
        if good and w.lacks and w.at_least is not None:
            out.append(Tick(w.words, None, f"not shown: {level:.2f} V at one end, {w.lacks}"))
            continue
        out.append(Tick(w.words, good, f"{w.point} {level:.2f}, at worst {worst:.2f}"))
    return tuple(out)


def reading_lines(
    found: Sequence[Feature],
    points: Mapping[str, str],
    names: Mapping[str, str],
    units: Mapping[str, str],
    supply: str | None,
) -> tuple[str, ...]:
    """Levels as lines of a readings file. `names`: base phase -> its name in the sheet; `supply`: channel
    of the battery,
    whose level in the same phase goes with every line."""
    batteries = {f.phase: f.level for f in found if f.channel == supply}
    out: list[str] = []
    for f in found:
        point, phase = points.get(f.channel), names.get(f.phase)
        if point is None or phase is None:
            continue
        if units.get(f.channel) == "A":
            out.append(f"{point} in {phase} clamp {f.level:.3f} A")
            continue
        battery = (
            f" battery {batteries[f.phase]:.2f} V" if f.phase in batteries and f.channel != supply else ""
        )
        out.append(f"{point} in {phase} scope {f.level:.3f} V{battery}")
    return tuple(dict.fromkeys(out))
