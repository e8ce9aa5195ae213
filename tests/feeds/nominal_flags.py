"""Nominal flags of a feed, worked out from the oracle format's text ("Jumper files") over the twin alone.

Shares no code with the judge. Start A: fitted on the sleeping vehicle, 3,600 s asleep, one drive cycle.
Start B: fitted at the end of each waking phase (after-run is none) of a healthy vehicle, 1 s, the rest of the
cycle, another full cycle.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from amptrail.circuit.model import Circuit, Fault, Must, Phase, Term, key
from amptrail.circuit.phases import drive_cycle, meant
from amptrail.circuit.tables import number
from amptrail.jobs.solved.feeds import fitted
from amptrail.sheet import parse_fault
from amptrail.twin import Held, Instant, run, walk

NIGHT_S = 3600.0
REVERSE_A, OVER, SAME = 0.005, 0.8, 1.02
Item = tuple[str, str]


def _ends(instants: Iterable[Instant]) -> list[Instant]:
    return [x for x in instants if x.event == "end"]


def _named(circuit: Circuit, names: Sequence[str], phase: Phase) -> bool:
    return any(key(p.name) == key(phase.name) for n in names for p in meant(circuit, n))


def _on(m: Must, x: Instant) -> bool | None:
    """Is the function on (as far as `must` asks); None while it buzzes or cannot be told."""
    if x.status in ("chatter", "not_converged"):
        return None
    if m.a is not None and m.b is not None:
        v = abs(x.volts(m.a) - x.volts(m.b))
        return v >= m.min_v if m.min_v is not None else v > (m.max_off_v or 0.0)
    if m.signal is not None and key(m.signal) == "awake":
        return m.module in x.words["modules_awake"]
    return None


def _off(m: Must, x: Instant) -> bool | None:
    if m.a is None or m.b is None or x.status in ("chatter", "not_converged"):
        on = _on(m, x)
        return None if on is None else not on
    return abs(x.volts(m.a) - x.volts(m.b)) <= (m.max_off_v or 0.0)


def _items(x: Instant) -> set[Item]:
    w = x.words
    kinds = (("relay", "relays_energised"), ("awake", "modules_awake"), ("drv", "drivers_on"))
    return {(kind, name) for kind, word in kinds for name in w[word]}


@dataclass(frozen=True)
class Nominal:
    """One feed against one fault."""

    circuit: Circuit
    feed: str
    against: str

    @cached_property
    def fed(self) -> Circuit:
        return fitted(self.circuit, self.feed)

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        return parse_fault(self.fed, self.against)

    @cached_property
    def phases(self) -> tuple[Phase, ...]:
        return drive_cycle(self.circuit)

    @cached_property
    def healthy(self) -> list[Instant]:
        """The night, then the phases of one cycle."""
        return _ends(walk(self.circuit, rest_s=NIGHT_S))

    @cached_property
    def asleep(self) -> list[Instant]:
        """Start A: the night, then the phases of one cycle."""
        return _ends(walk(self.fed, self.faults, rest_s=NIGHT_S))

    @cached_property
    def awake(self) -> dict[str, list[Instant]]:
        """Start B by the phase it was fitted in: that phase, the rest of the cycle, a full cycle."""
        out = {}
        for p in self.phases:
            if p.base in ("asleep", "after-run"):
                continue
            w = walk(self.fed, self.faults, start=f"awake:{p.name}", healthy=self.circuit)
            left = len(self.phases) - self.phases.index(p) + len(self.phases)
            out[p.name] = _ends(w)[-left:]
        return out

    def _rest_of(self, phase: str) -> list[Instant]:
        return self.awake[phase][: -len(self.phases)]

    def missing(self, instants: Iterable[Instant]) -> list[tuple[str, str]]:
        """(function, phase) wanted on and not on."""
        return [
            (m.name, x.phase.name)
            for x in instants
            for m in self.circuit.musts
            if _named(self.circuit, m.on, x.phase) and self._told(m) and not _on(m, x)
        ]

    def lasting(self, instants: Iterable[Instant]) -> list[tuple[str, str]]:
        """(function, phase) wanted off and on."""
        return [
            (m.name, x.phase.name)
            for x in instants
            for m in self.circuit.musts
            if _named(self.circuit, m.off, x.phase) and self._told(m) and _off(m, x) is False
        ]

    def _told(self, m: Must) -> bool:
        return m.a is not None or (m.signal is not None and key(m.signal) == "awake")

    def _after_run(self, failed: list[tuple[str, str]]) -> list[tuple[str, str]]:
        base = {p.name: p.base for p in self.phases}
        return [f for f in failed if base[f[1]] == "after-run"]

    def _everything(self) -> list[Instant]:
        return [*self.asleep, *(x for w in self.awake.values() for x in w)]

    def _disturbed(self, x: Instant) -> bool:
        """Asleep with more than the allowed current, or with a module awake that healthy sleeps."""
        battery = next(p for p in self.circuit.parts if p.kind == "battery")
        most = min((d.max_a for d in self.circuit.draws), default=float("inf"))
        awake = set(x.words["modules_awake"]) - set(self.healthy[-1].words["modules_awake"])
        return bool(awake) or abs(x.amps(Term(battery.name, ""))) > most

    def flags(self) -> set[str]:
        """Names of the flags that are not as they should be (but `works_when_fitted_awake`)."""
        bad = self.missing(self.asleep[1:])
        after = self._after_run(bad)
        every = self._everything()
        first = _items(self.asleep[0])
        whole = len(self.phases)
        checks: dict[str, bool] = {
            "restores_from_asleep": len(bad) > len(after),
            "after_run_kept": bool(after),
            "restarts_after_shutdown": any(self.missing(w[-whole:]) for w in self.awake.values()),
            "loads_off_when_required": bool(self.lasting(every)),
            "sleeps_from_asleep": self._disturbed(self.asleep[0]) or self._disturbed(self.asleep[-1]),
            "sleeps_after_awake_fit": any(self._disturbed(self._rest_of(p)[-1]) for p in self.awake),
            "permanently_on": bool(first - _items(self.healthy[0])),
            "self_hold": bool(self.held() - first),
            "dead_lock": bool(self.dead_locks()),
            "back_feed": bool(self.reverse()),
            "drivers_tripped": any(x.words["drivers_tripped"] for x in every),
            "chatter": any(x.status == "chatter" for x in every),
            "fuse_over_80_percent": bool(self.loaded()),
            "fuses_blown": any(x.words["fuses_open"] for x in every),
            "interlock_bypassed": bool(self.bypassed()),
        }
        return {name for name, amiss in checks.items() if amiss}

    def held(self) -> set[Item]:
        """On after the shutdown of a start awake, though not in the healthy vehicle then."""
        last = _items(self.healthy[-1])
        return {i for p in self.awake for i in _items(self._rest_of(p)[-1])} - last

    def dead_locks(self) -> set[tuple[str, str]]:
        """Worked in the phase it was fitted in, fails there after a night; nothing blown, nothing tripped."""
        fails = set(self.missing(self.asleep[1:]))
        out = set()
        for p, w in self.awake.items():
            spoilt = any(x.words["fuses_open"] or x.words["drivers_tripped"] for x in (*w, *self.asleep))
            wanted = {(m.name, p) for m in self.circuit.musts if _named(self.circuit, m.on, w[0].phase)}
            works = {f for f in wanted if f not in set(self.missing(w[:1]))}
            out |= set() if spoilt else works & fails
        return out

    def reverse(self) -> set[tuple[str, str]]:
        """(body diode of an output, phase) that carries more than 5 mA beyond the healthy vehicle."""
        out = set()
        for x, h in zip(self.asleep[1:], self.healthy[1:], strict=True):
            for name, a in x.all_amps.items():
                before = abs(h.all_amps.get(name, 0.0))
                if name.endswith(".diode") and abs(a) > REVERSE_A and abs(a) > 1.1 * before + REVERSE_A:
                    out.add((name, x.phase.name))
        return out

    def loaded(self) -> set[tuple[str, str]]:
        """(fuse, phase) above 80 % of its rating and above the healthy vehicle."""
        out = set()
        for p in self.fed.parts:
            if p.kind not in ("fuse", "link"):
                continue
            for x, h in zip(self.asleep[1:], self.healthy[1:], strict=True):
                a, before = abs(x.amps(Term(p.name, ""))), abs(h.all_amps.get(p.name, 0.0))
                if a > OVER * number(p, "rating_a") and a > SAME * before:
                    out.add((p.name, x.phase.name))
        return out

    def bypassed(self) -> set[str]:
        """Safety switches that, held open, no longer stop their function."""
        out = set()
        for lock in self.circuit.interlocks:
            must = next(m for m in self.circuit.musts if key(m.name) == key(lock.function))
            held = (Held(lock.switch, "open"),)
            for x in run(self.fed, self.faults, cycles=1, held=held):
                if _named(self.circuit, must.on, x.phase) and _on(must, x):
                    out.add(lock.switch)
        return out
