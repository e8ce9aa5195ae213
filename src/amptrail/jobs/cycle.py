"""`cycle`: the drive cycle in time, healthy or with faults, with a feed fitted or an instrument left on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast, get_args

import numpy as np

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.circuit.phases import drive_cycle
from amptrail.circuit.tables import KINDS
from amptrail.cycle import Cause, Instant, Race, Timeline, races_between, run_cycle
from amptrail.cycle.functions import Held, functions
from amptrail.cycle.lanes import Lanes, lanes
from amptrail.cycle.svg import svg
from amptrail.cycle.text import drawing
from amptrail.cycle.timeline import Order
from amptrail.errors import InputError, Problem, nearest, one
from amptrail.faults import changes
from amptrail.instruments import by_name, cautions
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.faultnames import fault_json, named_or_text
from amptrail.jobs.solved.feeds import fitted
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.jobs.solved.reach import turns
from amptrail.jobs.solved.session import listed, session, tap
from amptrail.jobs.solved.spots import Spot, all_spots, spot
from amptrail.solve import Tap

INNER = (".copy", ".diode", ".resistor", ".up", ".down", ".low", ".crank")  # nothing a clamp goes around
VALUES = ("off", "on", "chatters")
assert "relay" in KINDS


@dataclass(frozen=True, slots=True)
class CycleOptions:
    """Options of the contract (docs/json.md, cycle). `leave`: (instrument, point) pairs left connected."""

    fault: tuple[str, ...] = ()
    feed: str | None = None
    start: str = "asleep"
    cycles: int = 1
    order: str = "settle"
    leave: tuple[tuple[str, str], ...] = ()
    at: tuple[str, ...] = ()
    svg: bool = False
    own: Own = STANDARD  # the instruments in hand


def start_of(circuit: Circuit, said: str) -> str:
    """A start as typed: the name of a phase alone means fitted while awake in it (asleep stays asleep)."""
    phases = {key(p.name): p for p in drive_cycle(circuit)}
    if key(said) not in phases:
        return said
    return "asleep" if phases[key(said)].base == "asleep" else f"awake:{phases[key(said)].name}"


def _order(said: str) -> Order:
    if said not in get_args(Order):
        raise one(
            "bad-order", f"no order is called {said}", expected=get_args(Order),
            nearest=nearest(said, get_args(Order)), remedy="use settle, or time",
        )  # fmt: skip
    return cast(Order, said)


def _left(circuit: Circuit, instrument: str, point: str, own: Own) -> tuple[Tap, list[Problem]]:
    """An instrument left connected, with what to mind; InputError where none may ever be."""
    bare = instrument.strip()
    held = bare if " " in bare else own.name(bare.lower())
    where, known = spot(circuit, point), by_name(held)
    if known.what in ("looks", "feels"):
        stay = ("meter", "lamp", "led", "loaded", "clamp", "scope")
        text = f"{instrument} is nothing that stays connected"
        raise one("not-an-instrument", text, expected=stay, remedy="name an instrument")
    told: list[Problem] = []
    for phase in drive_cycle(circuit):
        for c in cautions(circuit, where.a, known, phase.name):
            if c.level == "never" and c.applies_to in ("class:restraint", "class:high-voltage"):
                raise one("never-probe", f"{point}: {c.text}", remedy="leave nothing connected there")
            p = Problem(
                "caution", f"{instrument} at {point}: {c.text}", severity="warning", remedy="mind this"
            )
            if p not in told:
                told.append(p)
    return tap(where, held), told


def _wanted(circuit: Circuit, at: Sequence[str]) -> list[Spot]:
    """The spots whose volts or amps are told; all of them when none is named."""
    spots = [spot(circuit, t) for t in at] if at else list(all_spots(circuit))
    bad = next((s for s in spots if s.what == "ohms"), None)
    if bad is not None and at:
        raise one("no-ohms-here", f"{bad.name} is read in ohms, with the battery off", remedy="use expect")
    return [s for s in spots if s.what != "ohms"]


class _Teller:
    """Volts and amps of instants by the names asked for."""

    def __init__(self, timeline: Timeline, circuit: Circuit, at: Sequence[str]) -> None:
        self.net = timeline.network
        wanted = _wanted(circuit, at)
        self.volts = [s for s in wanted if s.what == "volts"]
        self.amps = [(s.name, str(s.a) if s.a.name else s.a.part) for s in wanted if s.what == "amps"]
        if not at:
            known = {key(n) for n, _ in self.amps}
            self.amps += [
                (b, b) for b in self.net.branches
                if not b.endswith(INNER) and key(b) not in known
            ]  # fmt: skip

    def _difference(self, values: np.ndarray, s: Spot, net: object) -> float:
        to = float(values[self.net.node(s.b)]) if s.b is not None else 0.0
        return float(values[self.net.node(s.a)]) - to

    def row(self, i: Instant) -> Json:
        steady = i.status in ("settled", "race")
        mine = i.network is self.net  # lived before the changes, in the network of then
        volts: Json = {}
        for s in self.volts:
            volts[s.name] = self._difference(self._values(i, mine), s, i.network) if steady else None
        amps: Json = {}
        for name, branch in self.amps:
            known = key(branch) in i.network.branch_of
            amps[name] = float(i.amps[i.network.branch(branch)]) if steady and known else None
        return {"volts": volts, "amps": amps, "alternates": self._alternates(i)}

    def _values(self, i: Instant, mine: bool) -> np.ndarray:
        if mine:
            return i.volts
        out = np.zeros(self.net.static.nodes)
        for k, n in self.net.node_index.items():
            if k in i.network.node_index:
                out[n] = i.volts[i.network.node_index[k]]
        return out

    def _alternates(self, i: Instant) -> Json:
        """[min, max] of the volts of a point against BAT.- while a loop chatters."""
        if i.low is None or i.high is None or i.network is not self.net:
            return {}
        low, high = i.low, i.high
        return {
            s.name: [float(low[self.net.node(s.a)]), float(high[self.net.node(s.a)])]
            for s in self.volts
            if s.b is None
        }


def _instant(i: Instant, teller: _Teller) -> Json:
    return {
        "t_s": i.t_s,
        "phase": i.phase,
        "pass": i.pass_no,
        "ends": i.ends,
        "before": i.before,
        "status": i.status,
        "changes": [str(c) for c in i.changes],
        "state": listed(i.state),
        "chatter": list(i.chattering),
        "every_s": i.every_s,
        **teller.row(i),
    }


def _cause(c: Cause) -> Json:
    return {"item": c.item, "because": c.because, "loop": c.loop, "by": [_cause(x) for x in c.by]}


def _lanes(drawn: Lanes) -> Json:
    bands = [
        {"phase": b.phase, "begin_s": b.begin_s, "end_s": b.end_s, "before": b.before} for b in drawn.bands
    ]
    rows = [
        {
            "name": x.name,
            "kind": x.kind,
            "spans": [{"begin_s": a, "end_s": b, "value": VALUES[v]} for a, b, v in x.spans],
        }
        for x in drawn.lanes
    ]
    return {"bands": bands, "lanes": rows}


def _race(r: Race) -> Json:
    return {"pass": r.pass_no, "phase": r.phase, "items": list(r.items)}


def _held(h: Held) -> Json:
    return {
        "name": h.name,
        "pass": h.pass_no,
        "phase": h.phase,
        "wanted": h.wanted,
        "holds": h.holds,
        "volts": h.volts,
        "limit_v": h.limit_v,
    }


def _unreachable(t: Timeline) -> list[str]:
    """Cranking phases that cannot come about: at no instant is the engine turned."""
    net = t.network
    cranking = [i for i in t.instants if net.phases[i.at].base == "cranking"]
    turned = {
        i.phase
        for i in cranking
        if turns(net.circuit, net, net.phases[i.at], i.state.relays_energised, i.volts)[0]
    }
    return sorted({i.phase for i in cranking} - turned)


def _lost(t: Timeline) -> list[Problem]:
    """Phases in which no solution was found: their figures are null, nothing rests on them."""
    where = dict.fromkeys(i.phase for i in t.instants if i.status == "not_converged")
    return [
        Problem("not-converged", f"no solution was found in {phase}; its figures are left out",
                severity="warning", remedy="look for parts with impossible figures")
        for phase in where
    ]  # fmt: skip


def _end(t: Timeline) -> Json:
    return {
        "reason": t.reason,
        "asleep": t.asleep,
        "awake": list(t.awake),
        "sleep_a": t.sleep_a,
        "why": [_cause(c) for c in t.why],
    }


def _faults(circuit: Circuit, texts: Sequence[str]) -> tuple[Fault, ...]:
    return tuple(f for text in texts for f in named_or_text(circuit, text))


def cycle(sheet_text: str, options: CycleOptions = CycleOptions()) -> Json:
    """The timeline of a drive cycle, what ended awake and why (docs/json.md, cycle)."""
    sheet = load(sheet_text)
    circuit = fitted(sheet.circuit, options.feed)
    order, start = _order(options.order), start_of(circuit, options.start)
    faults = _faults(circuit, options.fault)
    network = session(circuit).network
    was = session(sheet.circuit).network
    present = tuple(c for f in faults for c in changes(network, f))
    left = [_left(circuit, *pair, options.own) for pair in options.leave]
    taps = [tap for tap, _ in left]
    both: dict[Order, Timeline] = {
        o: run_cycle(network, present, start, options.cycles, o, taps, was=was) for o in get_args(Order)
    }
    told = both[order]
    teller = _Teller(told, circuit, options.at)
    body = {
        "order": order,
        "start": start,
        "cycles": options.cycles,
        "fault": " and ".join(options.fault) or None,
        "faults": [fault_json(circuit, f) for f in faults],
        "feed": options.feed,
        "left": [{"instrument": i, "point": p} for i, p in options.leave],
        "timeline": [_instant(i, teller) for i in told.instants],
        "end": _end(told),
        "functions": [_held(h) for h in functions(told)],
        "self_holding": list(told.self_holding),
        "chatter": list(told.chatter),
        "loops": list(told.loops),
        "fuses_open": list(told.fuses_open),
        "races": [_race(r) for r in races_between(both["settle"], both["time"])],
        "race_phases": list(told.races),
        "unreachable": _unreachable(told),
        **_lanes(lanes(told)),
        "text": drawing(told),
        "svg": svg(told) if options.svg else None,
    }
    told_too = [p for _, more in left for p in more] + _lost(told)
    return answer("cycle", sheet, body, problems=told_too)


__all__ = ["CycleOptions", "InputError", "cycle"]
