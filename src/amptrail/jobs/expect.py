"""`expect`: what every point should read, for the instrument in hand and the state the vehicle is in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from amptrail.circuit.model import Circuit, Fault, Phase, key
from amptrail.circuit.phases import drive_cycle, seconds
from amptrail.errors import nearest, one
from amptrail.instruments import Instrument, by_name
from amptrail.jobs.base.context import Json, Sheet, answer, load
from amptrail.jobs.base.faultnames import fault_json, fault_objects, named_or_text, read_fault_file
from amptrail.jobs.solved.feeds import fitted
from amptrail.jobs.solved.forbidden import never
from amptrail.jobs.solved.own import STANDARD, Own, errs_otherwise
from amptrail.jobs.solved.reach import reasons
from amptrail.jobs.solved.readable import asked_for
from amptrail.jobs.solved.session import PhaseState, Reading, session
from amptrail.jobs.solved.spots import Spot, battery_minus, canonical

Z90 = 1.6448536269514722  # 5 to 95 % of a normal distribution


@dataclass(frozen=True, slots=True)
class ExpectOptions:
    """Options of the contract (docs/json.md, expect). Empty tuples mean "all"."""

    phases: tuple[str, ...] = ()
    at: tuple[str, ...] = ()
    instruments: tuple[str, ...] = ()
    fault: tuple[str, ...] = ()  # several are one multiple fault
    faults_text: str | None = None  # one run a line
    every_fault: bool = False
    feed: str | None = None
    cycles: int = 1
    start: str = "asleep"
    nominal: bool = False
    own: Own = STANDARD  # the instruments in hand


@dataclass(frozen=True, slots=True)
class _Ask:
    """One run asked for: its words and its faults."""

    text: str | None
    faults: tuple[Fault, ...]


def _asks(circuit: Circuit, o: ExpectOptions) -> list[_Ask]:
    if o.every_fault:
        rows = [_Ask(None, ())]
        rows += [_Ask(r["name"] or r["text"], named_or_text(circuit, r["name"] or r["text"]))
                 for r in fault_objects(circuit)]  # fmt: skip
        return rows
    if o.faults_text is not None:
        return [_Ask(text, faults) for text, faults in read_fault_file(circuit, o.faults_text)]
    if o.fault:
        joined = tuple(f for text in o.fault for f in named_or_text(circuit, text))
        return [_Ask(" and ".join(o.fault), joined)]
    return [_Ask(None, ())]


def pick_phases(circuit: Circuit, wanted: Sequence[str]) -> list[int]:
    """Indices into the drive cycle of the phases asked for, all when none is named."""
    cycle = drive_cycle(circuit)
    names = {key(p.name): i for i, p in enumerate(cycle)}
    if not wanted:
        return list(range(len(cycle)))
    missing = [w for w in wanted if key(w) not in names and key(w) != "off"]
    if missing:
        known = [p.name for p in cycle]
        raise one("unknown-phase", f"no phase is called {missing[0]}", expected=tuple(known),
                  nearest=nearest(missing[0], known), remedy="name a phase of the sheet")  # fmt: skip
    return [names[key(w)] for w in wanted if key(w) in names]


def _reading(circuit: Circuit, s: Spot, instrument: str, got: Reading) -> Json:
    unit = {"clamp": "A", "ohmmeter": "ohm"}.get(instrument, "V")
    return {
        "point": s.name,
        "to": str(s.b) if s.b else (None if s.what == "amps" else str(battery_minus(circuit))),
        "node": canonical(circuit, s.a),
        "instrument": instrument,
        "value": got.value,
        "unit": unit,
        "low": got.low,
        "high": got.high,
        "disturbs": list(got.disturbs),
        "alternates": list(got.alternates) if got.alternates else None,
        "flags": list(got.flags),
    }


def read_off(got: Reading, tool: Instrument, nominal: bool) -> Reading:
    """What an instrument its owner measured shows: its offset on top, its error, where told, in the band."""
    if got.alternates is not None:
        low, high = got.alternates
        return replace(got, alternates=(low + tool.offset, high + tool.offset))
    if got.value is None or got.low is None or got.high is None:
        return got
    error = 0.0 if nominal or not errs_otherwise(tool) else Z90 * tool.sigma(got.value)
    value = got.value + tool.offset
    low, high = (math.hypot(x - got.value, error) for x in (got.low, got.high))
    return replace(got, value=value, low=value - low, high=value + high)


def _flags_of_spot(circuit: Circuit, s: Spot) -> tuple[str, ...]:
    return ("never_probe",) if never(circuit, s.a) else ()


def _phase_row(phase: Phase, t_s: float, solved: PhaseState, why_not: str | None) -> Json:
    return {
        "phase": phase.name,
        "t_s": t_s,
        "status": solved.status,
        "state": solved.state,
        "chatter": list(solved.chatter),
        "alternatives": list(solved.alternatives),
        "unreachable": why_not is not None,
        "unreachable_why": why_not,
        "readings": [],
    }


def _off_row(last: PhaseState) -> Json:
    """Battery and charger off, modules unpowered: ohms only. What the cycle blew stays blown."""
    return {
        "phase": "off",
        "t_s": None,
        "status": "settled",
        "state": {**{k: [] for k in last.state}, "fuses_open": last.state["fuses_open"]},
        "chatter": [],
        "alternatives": [],
        "unreachable": False,
        "unreachable_why": None,
        "readings": [],
    }


def _ends(circuit: Circuit) -> list[float]:
    total, ends = 0.0, []
    for p in drive_cycle(circuit):
        total += seconds(p)
        ends.append(total)
    return ends


def _run_rows(sheet: Sheet, circuit: Circuit, o: ExpectOptions) -> list[Json]:
    asks = _asks(circuit, o)
    wanted = asked_for(circuit, o.at, o.instruments)
    live = [(s, i) for s, i in wanted if i != "ohmmeter"]
    ohms = [(s, i) for s, i in wanted if i == "ohmmeter"]
    phases = pick_phases(circuit, o.phases)
    off_wanted = bool(ohms) and (not o.phases or any(key(p) == "off" for p in o.phases))
    ready = session(circuit)
    seen = None if off_wanted else sorted(set(phases))  # an ohmmeter meets what the whole cycle left behind
    lanes = [ready.lane(a.faults) for a in asks]
    runs = ready.run(lanes, o.start, o.cycles, seen)
    # an engine that was never cranked does not run, whether or not its cranking was asked about
    skipped = any(p.base == "cranking" and n not in runs.phases for n, p in enumerate(drive_cycle(circuit)))
    whole = ready.run(lanes, o.start, o.cycles) if skipped else runs
    held = [(s, o.own.name(i)) for s, i in live]
    table = ready.read_all(runs, held, phases, bands=not o.nominal)
    off = ready.read_off(runs, [(s, o.own.name(i)) for s, i in ohms]) if off_wanted else None
    cycle, ends = drive_cycle(circuit), _ends(circuit)
    rows = []
    for lane, ask in enumerate(asks):
        phase_rows = []
        why_not = reasons(circuit, whole, lane)
        for slot, p in enumerate(phases):
            row = _phase_row(cycle[p], ends[p], ready.state(runs, lane, p), why_not.get(p))
            for t, (s, i) in enumerate(live):
                got = table[lane][slot][t].flagged(_flags_of_spot(circuit, s))
                if o.own.words(i) is not None:
                    got = read_off(got, by_name(o.own.name(i)), o.nominal)
                row["readings"].append(_reading(circuit, s, i, got))
            phase_rows.append(row)
        if off is not None:
            ohm_rows = [_reading(circuit, s, i, off[lane][t]) for t, (s, i) in enumerate(ohms)]
            own = next((r for r in phase_rows if key(r["phase"]) == "off"), None)
            if own is None:
                own = _off_row(ready.state(runs, lane, len(cycle) - 1))
                phase_rows.append(own)
            own["readings"] += ohm_rows  # a sheet may call a phase of its own `off`: one row holds both
        rows.append(
            {
                "fault": ask.text,
                "faults": [fault_json(circuit, f) for f in ask.faults],
                "feed": o.feed,
                "phases": phase_rows,
            }
        )
    return rows


def expect(sheet_text: str, options: ExpectOptions = ExpectOptions()) -> Json:
    """Readings at every point asked for, phase by phase, healthy or with faults (docs/json.md)."""
    sheet = load(sheet_text)
    circuit = fitted(sheet.circuit, options.feed)
    runs = _run_rows(sheet, circuit, options)
    return answer("expect", sheet, {"runs": runs, "own_instruments": options.own.as_data()})
