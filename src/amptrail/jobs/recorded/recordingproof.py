"""What a recording must show of a sheet, fed or not: functions on and off, draw asleep, asleep in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from amptrail.circuit.model import Circuit, Must, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.wiring import wiring
from amptrail.cycle.timeline import Timeline
from amptrail.jobs.solved.spots import Spot, battery_minus, spot
from amptrail.recording.against import Tick, Wanted, ticked
from amptrail.recording.phases import Feature
from amptrail.recording.picture import Seen

LATE, LATE_S = (
    1.2,
    1.0,
)  # as long after the key as the sheet says, a fifth and a second more (common practice)
SAME_A = 0.01  # a clamp sees the battery's whole current: within a hundredth of it, always


def proof(
    circuit: Circuit, seen: Seen, points: Mapping[str, str], found: Sequence[Feature], lived: Timeline
) -> tuple[Tick, ...]:
    """Every line that must hold, ticked from the recording. `circuit` has the feed fitted, `points`:
    channel to point of the sheet, `lived`: its drive in time."""
    features, known, wanted = _functions(circuit, points, found)
    ticks = list(ticked(features, known, wanted))
    ticks += [
        Tick(f"{m.name}: {m.module} {m.signal}", None, "not shown: a signal inside a module has no clip")
        for m in circuit.musts
        if m.a is None
    ]
    clamp = _battery_clamp(circuit, points, lived)
    ticks += _draws(circuit, clamp, found)
    return (*ticks, _in_time(seen, lived, clamp))


def _phases(circuit: Circuit, names: Sequence[str]) -> tuple[str, ...]:
    """Base phases of those named that a recording tells: where all that stand on the base are named."""
    base = {key(p.name): p.base for p in drive_cycle(circuit)}
    blurred = {base[key(x)] for x in _blurred(circuit, names)}
    return tuple(dict.fromkeys(b for x in names if (b := base.get(key(x))) is not None and b not in blurred))


def _blurred(circuit: Circuit, names: Sequence[str]) -> tuple[str, ...]:
    """Phases named that stand on a base beside others that are not: no recording tells them apart."""
    cycle = drive_cycle(circuit)
    said = {key(x) for x in names}
    mixed = {p.base for p in cycle if key(p.name) in said} & {
        p.base for p in cycle if key(p.name) not in said
    }
    return tuple(p.name for p in cycle if key(p.name) in said and p.base in mixed)


def _functions(
    circuit: Circuit, points: Mapping[str, str], found: Sequence[Feature]
) -> tuple[list[Feature], dict[str, str], list[Wanted]]:
    """(levels, channel to point, figures): volts across a function from one channel between its two ends, or
    from one channel at each."""
    features, known, wanted = list(found), dict(points), list[Wanted]()
    for m in circuit.musts:
        if m.a is None:
            continue
        name = f"{m.a} to {m.b}" if m.b is not None else str(m.a)
        lacks = _across(circuit, m, points, found, features, known, name)
        if m.min_v is not None:
            words = f"{m.name}: {name} {m.min_v:g} V or more in {', '.join(m.on)}"
            on = _phases(circuit, m.on), _blurred(circuit, m.on)
            wanted.append(Wanted(words, name, on[0], at_least=m.min_v, lacks=lacks, blurred=on[1]))
        if m.max_off_v is not None and m.off:
            words = f"{m.name}: {name} {m.max_off_v:g} V or less in {', '.join(m.off)}"
            off = _phases(circuit, m.off), _blurred(circuit, m.off)
            wanted.append(Wanted(words, name, off[0], at_most=m.max_off_v, lacks=lacks, blurred=off[1]))
    return features, known, wanted


def _across(
    circuit: Circuit, m: Must, points: Mapping[str, str], found: Sequence[Feature], features: list[Feature],
    known: dict[str, str], name: str,
) -> str:  # fmt: skip
    """Adds the levels across a function under `name`; answers which end lacks a channel, in words."""
    joined = wiring(circuit)
    ground = joined.node(battery_minus(circuit))

    def ends(s: Spot) -> tuple[int | None, int | None]:
        return joined.node(s.a), joined.node(s.b) if s.b is not None else ground

    at = {c: ends(spot(circuit, p)) for c, p in points.items() if spot(circuit, p).what == "volts"}
    a = joined.node(m.a) if m.a is not None else None
    b = joined.node(m.b) if m.b is not None else ground
    direct = next((c for c, e in at.items() if e == (a, b)), None)
    upper = next((c for c, e in at.items() if e == (a, ground)), None)
    lower = next((c for c, e in at.items() if e == (b, ground)), None)
    use = direct or upper
    if use is None:
        return ""
    known[name] = name
    mine = [f for f in found if f.channel == use]
    if direct is None and lower is not None:
        other = {(f.phase, f.span.begin_s): f for f in found if f.channel == lower}
        both = [(f, other[f.phase, f.span.begin_s]) for f in mine if (f.phase, f.span.begin_s) in other]
        features += [
            replace(f, channel=name, level=f.level - g.level, low=f.low - g.high, high=f.high - g.low)
            for f, g in both
        ]
        return ""
    features += [replace(f, channel=name) for f in mine]
    return "" if direct is not None else f"no channel at {m.b}"


def _battery_clamp(circuit: Circuit, points: Mapping[str, str], lived: Timeline) -> str | None:
    """The channel that sees all the battery gives: its branch carries that current at every instant lived."""
    battery = battery_minus(circuit).part
    for channel, point in points.items():
        s = spot(circuit, point)
        if s.what != "amps":
            continue
        branch: str | Term = s.a if s.a.name else s.a.part
        pairs = [(i.amp(branch), i.amp(battery)) for i in lived.instants if i.status == "settled"]
        if pairs and all(abs(abs(x) - abs(y)) <= SAME_A * abs(y) + 1e-6 for x, y in pairs):
            return channel
    return None


def _draws(circuit: Circuit, clamp: str | None, found: Sequence[Feature]) -> list[Tick]:
    out: list[Tick] = []
    for d in circuit.draws:
        words = f"draw {d.phase} at most {d.max_a * 1000:g} mA"
        mine = [f for f in found if f.channel == clamp and f.phase in _phases(circuit, (d.phase,))]
        # what is drawn after the drive counts; before it, somebody may have sat in the vehicle
        last = max(mine, key=lambda f: f.span.begin_s, default=None)
        if clamp is None:
            out.append(Tick(words, None, "not shown: no clamp on the battery's cable"))
        elif last is None:
            out.append(Tick(words, None, f"not shown: the recording has no {d.phase}"))
        else:
            out.append(Tick(words, abs(last.level) <= d.max_a, f"{abs(last.level) * 1000:.1f} mA"))
    return out


def _in_time(seen: Seen, lived: Timeline, clamp: str | None) -> Tick:
    """Whether it slept as soon after the key as the sheet, lived through in time, says."""
    if not lived.asleep:
        held = ", ".join(lived.awake) or "the current drawn"
        return Tick("asleep in time", None, f"not shown: by the sheet it never sleeps like this ({held})")
    bases = [lived.network.phases[i.at].base for i in lived.instants]
    off = next((i.t_s for i, b in zip(lived.instants, bases, strict=True) if b == "after-run"), None)
    if off is None:
        return Tick("asleep in time", None, "not shown: the sheet has no after-run")
    rest = max((i.t_s for i in lived.instants if i.changes and i.t_s >= off), default=off) - off
    words = f"asleep in time: {rest:.1f} s after the key by the sheet"
    limit = rest * LATE + LATE_S
    keyed = next((e.t_s for e in reversed(seen.events) if e.kind == "key_off"), None)
    if keyed is None:
        return Tick(words, None, "not shown: no channel shows the key")
    if clamp is None:
        return Tick(words, None, "not shown: no clamp on the battery's cable")
    quiet = next(
        (e.t_s for e in seen.events if (e.channel, e.kind) == (clamp, "asleep") and e.t_s > keyed - 1), None
    )
    end = max(c.end_s for c in seen.recording.channels if c.name == clamp)
    if quiet is not None:
        return Tick(words, quiet - keyed <= limit, f"quiet {max(quiet - keyed, 0):.1f} s after the key")
    if end - keyed <= limit:
        return Tick(words, None, f"not shown: the recording ends {end - keyed:.1f} s after the key")
    return Tick(words, False, f"still drawing {end - keyed:.1f} s after the key")
