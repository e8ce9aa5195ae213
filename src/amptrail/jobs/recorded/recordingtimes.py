"""How fast things were in a recording, beside what the sheet, lived through in time, says: a relay from its
winding to its contact, what stays on after the key. And what of it is a reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from amptrail.circuit.model import Circuit, key
from amptrail.cycle.pace import NORMAL, Armature, armatures
from amptrail.cycle.timeline import Timeline
from amptrail.jobs.solved.spots import Spot, spot
from amptrail.recording.against import Band, Beside
from amptrail.recording.phases import Span
from amptrail.recording.picture import Seen
from amptrail.recording.relays import Delay, delays
from amptrail.recording.turns import lags

# where relays of one kind let go (mean 3.5 V, 2.5 to 5 V: FACTS section 3), as shares of what is stated, and
# their mechanical times (operate 3 to 10 ms, release 2 to 10 ms: FACTS section 3)
DROPS, MECHANICAL = (0.7, 1.5), (0.15, 2.0)
TRUST = 0.1  # of a prediction in time, and half a second (common practice)
TRUST_S = 0.5
SPREAD = 0.05  # of a nominal value: battery and resistances of a healthy vehicle (common practice)


def beside_times(
    circuit: Circuit, seen: Seen, points: Mapping[str, str], lived: Timeline
) -> tuple[Beside, ...]:
    """Times of the recording beside those of the sheet, s; what nothing recorded shows is left out."""
    return (*_relays(circuit, seen, lived), *_after_the_key(circuit, seen, points, lived))


def _relays(circuit: Circuit, seen: Seen, lived: Timeline) -> list[Beside]:
    net = lived.network
    known = {key(n): k for k, n in enumerate(net.relays)}
    arms = armatures(net, NORMAL)
    out: list[Beside] = []
    for d in delays(seen.recording.channels, seen.events):
        k = known.get(key(d.part))
        if k is None:
            continue
        pull, drop = (float(x) for x in net.base.pull_drop[k])
        low, high = _let_go(arms[k], drop) if d.kind == "drop_out" else _pull_in(arms[k], pull)
        took = d.delay_ms / 1000
        fits = d.kind != "drop_out" or _fits(d, arms[k], drop)
        agrees = low <= took <= high and fits
        what = "lets go" if d.kind == "drop_out" else "pulls in"
        words = f"{d.part} {what} {d.delay_ms:.1f} ms after its winding"
        if not agrees:
            words += f", {d.suppression}" if not fits else ""
            words += f"; the sheet says {low * 1000:.1f} to {high * 1000:.1f} ms"
            words += f" with {_quenched(arms[k])}" if d.kind == "drop_out" else ""
        out.append(Beside(d.part, d.part, d.kind, took, low, high, agrees, words))
    return out


def _let_go(a: Armature, drop_v: float) -> tuple[float, float]:
    both = [replace(a, release_s=a.release_s * share).lets_go_after(a.rated_v, 0.0, drop_v * part)
            for part in DROPS for share in MECHANICAL]  # fmt: skip
    return min(both), max(both)


def _pull_in(a: Armature, pull_v: float) -> tuple[float, float]:
    both = [a.pulls_in_after(v, pull_v) * share for v in (a.rated_v, 0.8 * a.rated_v) for share in MECHANICAL]
    return min(both), max(both)


def _fits(d: Delay, a: Armature, drop_v: float) -> bool:
    """Whether the spike of the winding is one of what the sheet says quenches it. No spike is a diode's, or
    that of a clip too slow to show it: then it must let go late, too."""
    if d.suppression is None:
        return True
    told = d.suppression.split()[1]  # a diode, a resistor, nothing across
    if told == "diode":
        late, _ = _let_go(replace(a, suppressed="diode"), drop_v)
        return a.suppressed == "diode" or d.delay_ms / 1000 < late
    return a.suppressed == ("resistor" if told == "resistor" else "none")


def _quenched(a: Armature) -> str:
    return {"none": "nothing across its winding"}.get(a.suppressed, f"a {a.suppressed} across its winding")


def _after_the_key(circuit: Circuit, seen: Seen, points: Mapping[str, str], lived: Timeline) -> list[Beside]:
    out: list[Beside] = []
    for lag in lags(seen.recording.channels, seen.events):
        point = points.get(lag.channel)
        if lag.what != "after-run" or point is None:
            continue
        wanted = _stays_on(lived, spot(circuit, point))
        if wanted is None:
            continue
        room = TRUST * wanted + TRUST_S + lag.wide_s
        low, high = max(wanted - room, 0.0), wanted + room
        agrees = low <= lag.seconds <= high
        words = f"{point} stays on {lag.seconds:.1f} s after the key"
        words += "" if agrees else f", the sheet says {wanted:.1f} s"
        out.append(Beside(lag.channel, point, "after-run", lag.seconds, low, high, agrees, words))
    return out


def widen_after_run(
    circuit: Circuit, points: Mapping[str, str], bands: dict[tuple[str, str], list[Band]], lived: Timeline
) -> None:
    """After the key, modules hold what they hold and let go one after the other: a level there lies between
    the lowest and highest that the sheet, lived through in time, comes by, not only where it ends."""
    phases = lived.network.phases
    mine = [i for i in lived.instants if i.status == "settled" and phases[i.at].base == "after-run"]
    for point in dict.fromkeys(points.values()):
        held = bands.get((point, "after-run"))
        if not held or not mine:
            continue
        at = spot(circuit, point)
        came = [i.amp(at.a if at.a.name else at.a.part) for i in mine] if at.what == "amps" else [
            i.volt(at.a) - (i.volt(at.b) if at.b is not None else 0.0) for i in mine
        ]  # fmt: skip
        low, high = min(came) - SPREAD * abs(min(came)), max(came) + SPREAD * abs(max(came))
        bands[point, "after-run"] = [replace(b, low=min(b.low, low), high=max(b.high, high)) for b in held]


def _stays_on(lived: Timeline, at: Spot) -> float | None:
    """Seconds from the key until a point is dead by the sheet; None where it never was alive or never is."""
    if at.what != "volts":
        return None
    settled = [i for i in lived.instants if i.status == "settled"]
    bases = [lived.network.phases[i.at].base for i in settled]
    off = next((k for k, b in enumerate(bases) if b in ("after-run", "asleep") and k and bases[k - 1] not in
                ("after-run", "asleep")), None)  # fmt: skip
    if off is None:
        return None

    def volts(k: int) -> float:
        i = settled[k]
        return i.volt(at.a) - (i.volt(at.b) if at.b is not None else 0.0)

    alive = abs(volts(off - 1))
    if alive < 1.0:
        return None
    dead = next((k for k in range(off, len(settled)) if abs(volts(k)) < alive / 2), None)
    return settled[dead].t_s - settled[off].t_s if dead is not None else None


def clicks(seen: Seen, names: Mapping[str, str]) -> tuple[str, ...]:
    """Readings: relays that were seen to answer their winding, in the phase they did so. `names`: base phase
    to its name in the sheet."""
    out = []
    for d in delays(seen.recording.channels, seen.events):
        phase = names.get(_phase(d, seen.spans) or "")
        if d.kind == "pull_in" and phase is not None:
            out.append(f"{d.part} in {phase} clicks")
    return tuple(dict.fromkeys(out))


def _phase(d: Delay, spans: Sequence[Span]) -> str | None:
    at = d.t_s + d.delay_ms / 1000
    return next((s.phase for s in spans if s.begin_s <= at < s.end_s and s.phase != "awake"), None)
