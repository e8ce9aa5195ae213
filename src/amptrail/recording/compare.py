"""Before and after a repair, in words: levels, sags, drop-outs, release and after-run times that changed.

What only one of the two recorded is said, and is no difference: it is not shown.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from amptrail.recording.against import near
from amptrail.recording.measures import Crank, cranks
from amptrail.recording.phases import Feature, features
from amptrail.recording.picture import Seen, named
from amptrail.recording.relays import delays
from amptrail.recording.turns import lags

APART_MS, APART_SHARE = 1.0, 0.15  # a relay's own spread from one switching to the next (common practice)
LATE_S = 0.5
COUNTED = {
    "dropout_start": "drops out for a moment", "chatter": "chatters", "bounce": "bounces",
    "woken": "is woken", "pull_in": "pulls in", "key_on": "key on", "crank_start": "cranks",
    "charge_start": "begins to be charged",
}  # fmt: skip
TIMES = {0: "never", 1: "once", 2: "twice"}


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing in both recordings: `before` and `after` in `unit` (None: not shown there), whether that is
    a change, and all of it in words."""

    channel: str
    what: str
    before: float | None
    after: float | None
    unit: str
    changed: bool | None
    words: str


def compared(before: Seen, after: Seen) -> tuple[Difference, ...]:
    """What changed first, then what is as it was, then what only one of the two shows."""
    found = [
        *_channels(before, after), *_levels(before, after), *_starts(before, after), *_counts(before, after),
        *_relays(before, after), *_times(before, after),
    ]  # fmt: skip
    rank = {True: 0, False: 1, None: 2}
    return tuple(sorted(found, key=lambda d: rank[d.changed]))


def _names(s: Seen) -> dict[str, str]:
    """Channel to the name both recordings may share."""
    return {c.name: named(c) for c in s.recording.channels}


def _units(s: Seen) -> dict[str, str]:
    return {named(c).casefold(): c.unit for c in s.recording.channels}


def _told(
    name: str, what: str, was: float | None, now: float | None, unit: str, apart: float, shown: str
) -> Difference:
    """`shown`: how a figure is written, such as .2f."""
    if was is None or now is None:
        there, other = ("after", "before") if was is None else ("before", "after")
        value = now if was is None else was
        words = f"{name} {what}: {value:{shown}} {unit} {there}, not shown {other}"
        return Difference(name, what, was, now, unit, None, words)
    changed = abs(now - was) > apart
    words = f"{name} {what}: {was:{shown}} {unit} before, {now:{shown}} {unit} after"
    if not changed:
        words = f"{name} {what}: {now:{shown}} {unit}, as before"
    return Difference(name, what, was, now, unit, changed, words)


def _channels(a: Seen, b: Seen) -> list[Difference]:
    out = []
    ours, theirs = _names(a).values(), _names(b).values()
    for names, others, there, other in ((ours, theirs, "before", "after"), (theirs, ours, "after", "before")):
        low = {n.casefold() for n in others}
        for n in names:
            if n.casefold() not in low:
                words = f"{n}: recorded {there} only; {other} it is not shown"
                out.append(Difference(n, "recorded", None, None, "", None, words))
    return out


def _by(s: Seen) -> dict[tuple[str, str], Feature]:
    """(name, phase) to its last level: what a phase came to."""
    names = _names(s)
    return {(names[f.channel].casefold(), f.phase): f for f in features(s.recording.channels, s.spans)}


def _levels(a: Seen, b: Seen) -> list[Difference]:
    was, now = _by(a), _by(b)
    known = {n.casefold(): n for n in (*_names(b).values(), *_names(a).values())}
    units = _units(b) | _units(a)
    out = []
    both = set(_units(a)) & set(_units(b))
    for key in dict.fromkeys((*was, *now)):
        if key[0] not in both or (key[1] == "cranking" and units[key[0]] != "A"):
            continue  # a start is told by its sag
        f, g = was.get(key), now.get(key)
        noise = max((x.noise for x in (f, g) if x is not None), default=0.0)
        apart = near(units[key[0]]) + noise / 2
        first, then = (x.level if x is not None else None for x in (f, g))
        out.append(_told(known[key[0]], f"in {key[1]}", first, then, units[key[0]], apart, ".2f"))
    return out


def _first_cranks(s: Seen) -> dict[str, Crank]:
    out: dict[str, Crank] = {}
    for c in s.recording.channels:
        for one in cranks(c, s.events)[:1]:
            out[named(c)] = one
    return out


def _starts(a: Seen, b: Seen) -> list[Difference]:
    was, now = _first_cranks(a), _first_cranks(b)
    units = _units(a)
    out = []
    for name in (n for n in was if n in now):
        f, g = was[name], now[name]
        unit = units[name.casefold()]
        out.append(_told(name, "lowest in cranking", f.lowest, g.lowest, unit, near(unit), ".2f"))
        out.append(_told(name, "mean in cranking", f.mean, g.mean, unit, near(unit), ".2f"))
        if f.end_s is not None and g.end_s is not None:
            lengths = f.end_s - f.begin_s, g.end_s - g.begin_s
            out.append(_told(name, "time cranked", *lengths, "s", 0.2 * max(lengths), ".2f"))
    return out


def _counted(s: Seen) -> Counter[tuple[str, str]]:
    names = _names(s)
    return Counter((names[e.channel], e.kind) for e in s.events if e.kind in COUNTED)


def _counts(a: Seen, b: Seen) -> list[Difference]:
    was, now = _counted(a), _counted(b)
    both = {n.casefold() for n in _names(a).values()} & {n.casefold() for n in _names(b).values()}
    out = []
    for name, kind in dict.fromkeys((*was, *now)):
        f, g = was[name, kind], now[name, kind]
        if name.casefold() not in both or f == g:
            continue
        words = f"{name} {COUNTED[kind]}: {_often(f)} before, {_often(g)} after"
        out.append(Difference(name, kind, float(f), float(g), "times", True, words))
    return out


def _often(count: int) -> str:
    return TIMES.get(count, f"{count} times")


def _relays(a: Seen, b: Seen) -> list[Difference]:
    was = {(d.part, d.kind): d for d in delays(a.recording.channels, a.events)}
    now = {(d.part, d.kind): d for d in delays(b.recording.channels, b.events)}
    out = []
    for key in dict.fromkeys((*was, *now)):
        f, g = was.get(key), now.get(key)
        what = "pulls in after its winding" if key[1] == "pull_in" else "lets go after its winding"
        ms = [x.delay_ms if x is not None else None for x in (f, g)]
        apart = APART_MS + APART_SHARE * max(x or 0.0 for x in ms)
        out.append(_told(key[0], what, ms[0], ms[1], "ms", apart, ".1f"))
        if f and g and f.suppression and g.suppression and f.suppression != g.suppression:
            words = f"{key[0]}: {f.suppression} before, {g.suppression} after"
            out.append(Difference(key[0], "suppression", f.spike_v, g.spike_v, "V", True, words))
    return out


def _lags(s: Seen) -> Mapping[tuple[str, str], float]:
    names = _names(s)
    return {(names[x.channel], x.what): x.seconds for x in lags(s.recording.channels, s.events)}


def _times(a: Seen, b: Seen) -> Sequence[Difference]:
    was, now = _lags(a), _lags(b)
    words = {"after-run": "still on after the key", "sleep": "asleep after the key"}
    out = []
    for key in dict.fromkeys((*was, *now)):
        f, g = was.get(key), now.get(key)
        apart = LATE_S + APART_SHARE * max(f or 0.0, g or 0.0)
        out.append(_told(key[0], words[key[1]], f, g, "s", apart, ".2f"))
    return out
