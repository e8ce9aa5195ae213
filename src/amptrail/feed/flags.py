"""The nominal flags of a feed: keys, types and definitions of oracle SCHEMA, "Jumper files" and addendum 15.

Where SCHEMA's words leave a choice, docs/feeds.md ("The flags, word for word") says which was taken and why.
"""

from __future__ import annotations

from typing import Any

from amptrail.circuit.model import Circuit, key
from amptrail.circuit.phases import sleeping
from amptrail.feed.evidence import Instant, Lives, Story
from amptrail.feed.functions import Finding, findings
from amptrail.feed.measures import (
    active,
    at,
    battery_a,
    buzzing,
    by_phase,
    each_battery_a,
    fuse_a,
    ratings,
    reverse_a,
    rounded,
)

Json = dict[str, Any]
BACK_FEED_A = 0.005
BACK_FEED_TIMES = 1.1
FUSE_SHARE, FUSE_TIMES = 0.8, 1.02


def _fed(of: Lives) -> list[Story]:
    return [of.get("fed", start) for start in of.plain_starts]


def sleep_limit_a(of: Lives) -> float | None:
    """The sheet's `draw asleep at most` line, A; None when it has none."""
    bed = sleeping(of.fitted.circuit)
    for d in of.fitted.circuit.draws:
        if key(d.phase) in (key(bed.name), key(bed.base)):
            return d.max_a
    return None


def sleeps(x: Instant, healthy: Instant, limit_a: float | None) -> bool:
    """Draws no more than the sheet allows and keeps no module awake that the healthy vehicle lets sleep."""
    if not x.steady:
        return False
    awake = set(x.state.modules_awake) - set(healthy.state.modules_awake)
    return not awake and (limit_a is None or battery_a(x) <= limit_a)


def _sleep(of: Lives, flags: Json) -> None:
    a = of.get("fed", "asleep")
    bed_a, before = _asleep(a), _before(a)
    healthy = _asleep(of.get("healthy", "asleep"))
    limit = sleep_limit_a(of)
    flags["sleeps_from_asleep"] = sleeps(bed_a, healthy, limit)
    flags["sleep_current_a"] = {"asleep_start": _amps(bed_a), "before_first_use": _amps(before)}
    flags["sleeps_after_awake_fit"] = {}
    for start in of.plain_starts[1:]:
        x = _asleep(of.get("fed", start))
        flags["sleeps_after_awake_fit"][_phase(start)] = sleeps(x, healthy, limit)
        flags["sleep_current_a"][start] = _amps(x)


def _asleep(s: Story) -> Instant:
    if s.shutdown is None:
        raise AssertionError("every story ends asleep")
    return s.shutdown


def _before(s: Story) -> Instant:
    if s.before_use is None:
        raise AssertionError("start asleep sleeps before first use")
    return s.before_use


def _amps(x: Instant) -> float | None:
    return rounded(battery_a(x)) if x.steady else None


def drained(of: Lives) -> tuple[str, float] | None:
    """The battery that gives most in any sleep judged, and what it gives, A; None: nothing steady."""
    sleeps_of = [_asleep(of.get("fed", start)) for start in of.plain_starts]
    found = [
        (amps, name)
        for x in (_before(of.get("fed", "asleep")), *sleeps_of) if x.steady
        for name, amps in each_battery_a(x).items()
    ]  # fmt: skip
    amps, name = max(found, key=lambda row: row[0], default=(0.0, ""))
    return (name, amps) if name else None


def _phase(start: str) -> str:
    return start.removeprefix("awake:")


def _on(found: tuple[Finding, ...]) -> list[Finding]:
    return [f for f in found if f.wanted == "on"]


def _functions(of: Lives, flags: Json) -> dict[str, tuple[Finding, ...]]:
    told = {start: findings(of.get("fed", start)) for start in of.plain_starts}
    every = [f for several in told.values() for f in several]
    flags["restores_from_asleep"] = all(f.ok for f in _on(told["asleep"]))
    awake = of.plain_starts[1:]
    flags["works_when_fitted_awake"] = {
        _phase(s): all(f.ok for f in _on(told[s]) if f.instant.step.fit) for s in awake
    }
    flags["restarts_after_shutdown"] = {
        _phase(s): all(f.ok for f in _on(told[s]) if f.instant.step.pass_no > 0) for s in awake
    }
    flags["loads_off_when_required"] = all(f.ok for f in every if f.wanted == "off")
    flags["after_run_kept"] = all(f.ok for f in _on(tuple(every)) if f.after_run)
    return told


def _holding(of: Lives, flags: Json) -> None:
    a, healthy = of.get("fed", "asleep"), of.get("healthy", "asleep")
    quiet = active(_before(healthy))
    flags["permanently_on"] = sorted(active(_before(a)) - quiet)
    usual = active(_before(a)) | quiet | active(_asleep(healthy))
    flags["self_hold"] = {}
    for start in of.plain_starts[1:]:
        held = active(_asleep(of.get("fed", start))) - usual
        if held:
            flags["self_hold"][start] = sorted(held)


def dead_locks(told: dict[str, tuple[Finding, ...]]) -> list[tuple[str, str]]:
    """(function, phase) that worked when fitted awake in that phase and fails there from asleep, though no
    fuse is blown and no driver tripped. `told`: findings by start, `asleep` among them."""
    found = []
    for start in told:
        for f in _on(told[start]):
            if not f.instant.step.fit or not f.ok:
                continue
            for g in _on(told["asleep"]):
                if g.must is f.must and g.instant.phase == f.instant.phase and g.instant.step.pass_no == 1:
                    s = g.instant.state
                    if not g.ok and not s.fuses_open and not s.drivers_tripped:
                        found.append((f.must.name, g.instant.phase_name))
    return list(dict.fromkeys(found))


def back_feeds(of: Lives) -> dict[str, tuple[float, Instant]]:
    """Outputs whose reverse current is more than 5 mA and more than 1.1 times the healthy one of that phase
    and 5 mA: the largest excess with its instant."""
    healthy = by_phase([of.get("healthy", "asleep")], reverse_a)
    found: dict[str, tuple[float, Instant]] = {}
    for story in _fed(of):
        for x in story.instants:
            for name, amps in reverse_a(x).items():
                base = max(at(healthy, x.phase, name), 0.0)
                over = amps > BACK_FEED_A and amps > BACK_FEED_TIMES * base + BACK_FEED_A
                if over and (name not in found or amps > found[name][0]):
                    found[name] = (amps, x)
    return found


def fuses_over(of: Lives) -> dict[str, tuple[float, Instant]]:
    """Fuses above 80 % of their rating and above 1.02 times the healthy current of that phase: the largest
    current, A, with its instant."""
    net = of.fitted.network
    rating, healthy = ratings(net), by_phase([of.get("healthy", "asleep")], fuse_a)
    found: dict[str, tuple[float, Instant]] = {}
    for story in _fed(of):
        for x in story.instants:
            for name, amps in fuse_a(x).items():
                over = amps > FUSE_SHARE * rating[name] and amps > FUSE_TIMES * at(healthy, x.phase, name)
                if over and (name not in found or amps > found[name][0]):
                    found[name] = (amps, x)
    return found


def bypassed(of: Lives) -> list[tuple[str, str]]:
    """(function, switch) of the sheet's interlocks whose function works all the same in a phase it is meant
    for, from asleep or after a shutdown, with that switch held open."""
    found = []
    for i in of.fitted.circuit.interlocks:
        for start in of.plain_starts:
            for f in findings(of.get("fed", start, i.switch)):
                mine = f.wanted == "on" and key(f.must.name) == key(i.function)
                if mine and f.instant.step.pass_no > 0 and f.ok:
                    found.append((f.must.name, i.switch))
    return list(dict.fromkeys(found))


def _events(of: Lives, flags: Json) -> None:
    every = [x for s in _fed(of) for x in s.instants]
    flags["drivers_tripped"] = sorted({d for x in every for d in x.state.drivers_tripped})
    flags["fuses_blown"] = sorted({d for x in every for d in x.state.fuses_open})
    flags["chatter"] = sorted({d for x in every for d in buzzing(x)})


ORDER = (
    "restores_from_asleep",
    "works_when_fitted_awake",
    "restarts_after_shutdown",
    "loads_off_when_required",
    "after_run_kept",
    "sleeps_from_asleep",
    "sleeps_after_awake_fit",
    "permanently_on",
    "self_hold",
    "dead_lock",
    "back_feed",
    "drivers_tripped",
    "chatter",
    "fuse_over_80_percent",
    "fuses_blown",
    "interlock_bypassed",
    "sleep_current_a",
    "accept",
)
MUST_BE_TRUE = ("restores_from_asleep", "loads_off_when_required", "after_run_kept", "sleeps_from_asleep")
ALL_TRUE = ("works_when_fitted_awake", "restarts_after_shutdown", "sleeps_after_awake_fit")
MUST_BE_EMPTY = ("permanently_on", "self_hold", "dead_lock", "back_feed", "drivers_tripped", "chatter",
                 "fuse_over_80_percent", "fuses_blown", "interlock_bypassed")  # fmt: skip


def accept(flags: Json) -> bool:
    """Everything that must be so is so, and every list of what must not be is empty."""
    return (
        all(flags[k] for k in MUST_BE_TRUE)
        and all(all(flags[k].values()) for k in ALL_TRUE)
        and not any(flags[k] for k in MUST_BE_EMPTY)
    )


def flags_of(of: Lives) -> Json:
    """The verdict of a feed as the oracle's jumper files spell it."""
    flags: Json = {}
    told = _functions(of, flags)
    _sleep(of, flags)
    _holding(of, flags)
    flags["dead_lock"] = [f"{name} in {phase}" for name, phase in dead_locks(told)]
    flags["back_feed"] = {name: rounded(amps) for name, (amps, _) in back_feeds(of).items()}
    flags["fuse_over_80_percent"] = {
        name: rounded(amps / ratings(of.fitted.network)[name]) for name, (amps, _) in fuses_over(of).items()
    }
    flags["interlock_bypassed"] = [f"{name} with {switch} open" for name, switch in bypassed(of)]
    _events(of, flags)
    flags["accept"] = accept(flags)
    return {k: flags[k] for k in ORDER}


def interlock_switches(circuit: Circuit) -> tuple[str, ...]:
    """Switches the sheet's interlocks name, each once."""
    return tuple(dict.fromkeys(i.switch for i in circuit.interlocks))
