"""The verdict of a jumper file computed a second time: from oracle SCHEMA's text, with the twin only.

Written without looking at amptrail.feed; plain dicts and loops. Works on circuits of the oracle format.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from amptrail.circuit.model import Circuit, Fault, Feed, Term, key
from amptrail.circuit.phases import drive_cycle, names_phase, seconds, sleeping
from amptrail.twin.overlay import Held, overlay
from amptrail.twin.settle import Machine
from amptrail.twin.starts import Leg
from amptrail.twin.state import Clock, State
from amptrail.twin.walk import Instant, live

Json = dict[str, Any]


class Life:
    """One vehicle that can be lived through phase by phase, its state handed over from another."""

    def __init__(self, machine: Machine) -> None:
        self.m = machine
        self.clock = Clock(0.0, None)
        self.s = State()

    def take_over(self, other: Life) -> None:
        self.s = other.s
        self.clock = Clock(other.clock.now, other.clock.phase, dict(other.clock.timers))

    def go(self, phase: Any, length_s: float) -> Instant:
        last = list(live(self.m, self.s, self.clock, [Leg(phase, length_s)]))[-1]
        self.s = last.state
        return last


def active(x: Instant) -> set[str]:
    own = {(y.module, key(y.name)) for y in x.machine.f.circuit.modules if hasattr(y, "expr")}
    return (
        {f"relay.{r}" for r in x.state.energised}
        | {f"drv.{m}.{d}" for m, d in x.state.on}
        | {f"sig.{m}.{s}" for m, s in x.state.signals if (m, key(s)) in own}
    )


def _whole(circuit: Circuit, feed: Feed) -> Circuit:
    return replace(circuit, parts=feed.parts + circuit.parts, nets=circuit.nets + feed.nets,
                   paths=circuit.paths + feed.paths)  # fmt: skip


def _without(circuit: Circuit, feed: Feed) -> Machine:
    """The healthy vehicle on the bench that also knows the feed's nodes: its elements taken away."""
    f = overlay(_whole(circuit, feed), ())
    own = {key(p.name) for p in feed.parts}
    f.bench.out[:] = [e for e in f.bench.out if key(e.branch.part) not in own]
    return Machine(f)


def _with(circuit: Circuit, feed: Feed, switch: str | None = None) -> Machine:
    cuts = []
    for name in feed.cuts:
        part, _, rest = name.partition(".")
        cuts.append(Fault("open", Term(part, rest) if rest else Term(name, "")))
    held = [Held(switch, "open")] if switch else []
    return Machine(overlay(_whole(circuit, feed), (*feed.against, *cuts), held))


def _asked(circuit: Circuit, m: Instant) -> list[tuple[Any, str, bool]]:
    out = []
    for must in circuit.musts:
        for wanted, phases in (("on", must.on), ("off", must.off)):
            if not names_phase(circuit, m.phase, phases):
                continue
            if must.module:
                on = (must.module, must.signal) in m.state.signals
                ok = on == (wanted == "on")
            else:
                v = m.volts(must.a) - m.volts(must.b)
                ok = v >= must.min_v if wanted == "on" else abs(v) <= must.max_off_v
            out.append((must, wanted, ok and m.status != "chatter"))
    return out


def _starts(circuit: Circuit, feed: Feed, switch: str | None = None) -> dict[str, list[tuple[Instant, str]]]:
    """Instants of every start, each with its part of the story: before, fit, rest, again."""
    cycle, bed = drive_cycle(circuit), sleeping(circuit)
    a = Life(_with(circuit, feed, switch))
    told = {"asleep": [(a.go(bed, 3600.0), "before")] + [(a.go(p, seconds(p)), "again") for p in cycle]}
    for n, p in enumerate(cycle):
        if p.base in ("asleep", "after-run") or p is bed:
            continue
        before = Life(_without(circuit, feed))
        before.go(bed, 60.0)
        for q in cycle[: n + 1]:
            before.go(q, seconds(q))
        b = Life(_with(circuit, feed, switch))
        b.take_over(before)
        rows = [(b.go(p, 1.0), "fit")] + [(b.go(q, seconds(q)), "rest") for q in cycle[n + 1 :]]
        told[f"awake:{p.name}"] = rows + [(b.go(q, seconds(q)), "again") for q in cycle]
    return told


def _reverse(m: Instant) -> dict[str, float]:
    out = {}
    for x in m.machine.f.circuit.modules:
        if hasattr(x, "on_ohm"):
            out[f"{x.module}.{x.name}"] = m.amps(Term(x.module, f"{x.name}.bd")) - m.amps(
                Term(x.module, x.name)
            )
    return out


def verdict(circuit: Circuit, feed: Feed) -> Json:
    """Every key of a jumper file's verdict but the three that are for information."""
    bed = sleeping(circuit)
    battery = next(p.name for p in circuit.parts if p.kind == "battery")
    limit = circuit.draws[0].max_a if circuit.draws else 1e9
    told = _starts(circuit, feed)
    h = Life(_without(circuit, feed))
    healthy = [h.go(bed, 3600.0)] + [h.go(p, seconds(p)) for p in drive_cycle(circuit)]
    asleep = {s: next(m for m, w in rows[1:] if m.phase is bed) for s, rows in told.items()}
    before = told["asleep"][0][0]
    asked = {s: [(m, w, *x) for m, w in rows for x in _asked(circuit, m)] for s, rows in told.items()}
    on = {s: [r for r in rows if r[3] == "on"] for s, rows in asked.items()}
    every = [r for rows in asked.values() for r in rows]
    awake = [s for s in told if s != "asleep"]

    def name(s: str) -> str:
        return s.removeprefix("awake:")

    def rests(m: Instant) -> bool:
        return m.status != "chatter" and m.amps(Term(battery, "")) <= limit and not (
            m.state.awake - healthy[-1].state.awake)  # fmt: skip

    quiet = active(healthy[0])
    out: Json = {
        "restores_from_asleep": all(r[4] for r in on["asleep"]),
        "works_when_fitted_awake": {name(s): all(r[4] for r in on[s] if r[1] == "fit") for s in awake},
        "restarts_after_shutdown": {name(s): all(r[4] for r in on[s] if r[1] == "again") for s in awake},
        "loads_off_when_required": all(r[4] for r in every if r[3] == "off"),
        "after_run_kept": all(r[4] for r in every if r[3] == "on" and r[0].phase.base == "after-run"),
        "sleeps_from_asleep": rests(asleep["asleep"]),
        "sleeps_after_awake_fit": {name(s): rests(asleep[s]) for s in awake},
        "permanently_on": sorted(active(before) - quiet),
        "self_hold": {},
        "dead_lock": [],
        "back_feed": set(),
        "drivers_tripped": sorted(
            {f"{m}.{d}" for row in told.values() for x, _ in row for m, d in x.state.tripped}),
        "fuses_blown": sorted({f for rows in told.values() for x, _ in rows for f in x.state.fuses_open}),
        "chatter": any(x.status == "chatter" for rows in told.values() for x, _ in rows),
        "fuse_over_80_percent": set(),
        "interlock_bypassed": set(),
        "sleep_current_a": {"asleep_start": asleep["asleep"].amps(Term(battery, "")),
                            "before_first_use": before.amps(Term(battery, "")),
                            **{s: asleep[s].amps(Term(battery, "")) for s in awake}},
    }  # fmt: skip
    for s in awake:
        held = active(asleep[s]) - active(before) - quiet - active(healthy[-1])
        if held:
            out["self_hold"][s] = sorted(held)
        for m, w, must, _, ok in on[s]:
            for m2, w2, must2, _, ok2 in on["asleep"]:
                same = must is must2 and m.phase is m2.phase and w == "fit" and w2 == "again"
                if same and ok and not ok2 and not m2.state.fuses_open and not m2.state.tripped:
                    out["dead_lock"].append(f"{must.name} in {m.phase.name}")
    rating = {p.name: dict(p.given)["rating_a"] for p in (*feed.parts, *circuit.parts) if p.kind == "fuse"}
    for rows in told.values():
        for m, _ in rows:
            same_phase = [x for x in healthy if x.phase is m.phase]
            for d, amps in _reverse(m).items():
                base = max(0.0, *(_reverse(x).get(d, 0.0) for x in same_phase))
                if amps > 0.005 and amps > 1.1 * base + 0.005:
                    out["back_feed"].add(d)
            for fuse, rated in rating.items():
                amps = abs(m.amps(Term(fuse, "")))
                own = fuse in {p.name for p in feed.parts}  # the healthy vehicle has none of these
                base = 0.0 if own else max(abs(x.amps(Term(fuse, ""))) for x in same_phase)
                if amps > 0.8 * rated and amps > 1.02 * base:
                    out["fuse_over_80_percent"].add(fuse)
    for i in circuit.interlocks:
        for rows in _starts(circuit, feed, i.switch).values():
            for m, w in rows:
                for must, wanted, ok in _asked(circuit, m):
                    if w == "again" and wanted == "on" and key(must.name) == key(i.function) and ok:
                        out["interlock_bypassed"].add(f"{must.name} with {i.switch} open")
    return out
