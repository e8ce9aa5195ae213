"""`drain`: flat by morning. The fuse box at rest on one page, who keeps whom awake, the order of tests with
their waits, and how long the battery lasts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from amptrail.circuit.model import Circuit, Fault, Term
from amptrail.circuit.tables import number
from amptrail.circuit.wiring import wiring
from amptrail.cycle import Cause, Timeline, run_cycle
from amptrail.errors import one
from amptrail.faults import changes
from amptrail.faults.metal import touching
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.judging.panel import live
from amptrail.jobs.judging.suspects import estimated, judge
from amptrail.jobs.night.drainbox import FuseRow, Read, asleep, box, clamped, explained, unfused
from amptrail.jobs.night.drainwait import Step, steps, wait_min
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.session import session
from amptrail.jobs.solved.spots import battery_plus
from amptrail.reference.battery import USABLE, charge_share, cold_share, hours_left
from amptrail.reference.rows import rows as table

USUAL_AH = 60.0  # where nobody said which battery
MOST_SUSPECTS, LEAST = 4, 0.03
LEAST_A = 1e-4  # a battery discharges itself about as fast: no longer time is promised
COLDEST, HOTTEST = -40.0, 60.0


@dataclass(frozen=True, slots=True)
class DrainOptions:
    """The battery (Ah, volts at rest) and the temperature, C; unsaid: by the readings, else usual."""

    battery_ah: float | None = None
    volts: float | None = None
    celsius: float | None = None


# ---- what is awake, and why -------------------------------------------------------------------------
def _lived(circuit: Circuit, faults: tuple[Fault, ...]) -> Timeline:
    network = session(circuit).network
    present = tuple(c for f in faults for c in changes(network, f))
    return run_cycle(network, present, "asleep", 1, "settle")


def _items(cause: Cause) -> Iterator[str]:
    yield cause.item
    for x in cause.by:
        yield from _items(x)


def _keepers(t: Timeline) -> list[Json]:
    """For every module awake at the end: which other modules its chain of causes passes."""
    out: list[Json] = []
    for c in t.why:
        name = c.item.removeprefix("awake ")
        if name in t.awake:
            met = {i for x in c.by for i in _items(x)}
            by = [m for m in t.awake if f"awake {m}" in met and m != name]
            out.append({"module": name, "by": by, "because": list(c.lines())})
    return out


def _case(circuit: Circuit, text: str, probability: float, faults: tuple[Fault, ...]) -> Json:
    t = _lived(circuit, faults)
    keepers = _keepers(t)
    return {
        "text": text, "probability": probability, "sleep_a": t.sleep_a, "awake": list(t.awake),
        "keepers": keepers, "first": [k["module"] for k in keepers if not k["by"]],
        "self_holding": list(t.self_holding),
    }  # fmt: skip


def _cases(j: Judgement) -> list[Json]:
    """The sound vehicle, then what leads."""
    alive = live(j)
    out = [_case(j.circuit, "nothing is broken", j.post.nothing_broken, ())]
    for h, three in zip(alive.index, alive.rows, strict=True):
        if j.post.probability[h] >= LEAST and three[1] and len(out) <= MOST_SUSPECTS:
            out.append(_case(j.circuit, estimated(j, h)[0], float(j.post.probability[h]), three[1]))
    return out


# ---- the battery ------------------------------------------------------------------------------------
def _said_volts(circuit: Circuit, seen: Sequence[Observation], phase: int) -> tuple[float, str]:
    at = [o for o in seen if o.phase == phase and o.battery_v is not None]
    if at and at[-1].battery_v is not None:
        return at[-1].battery_v, "the battery line of the readings"
    posts = [o for o in seen if o.phase == phase and o.tool == "meter" and o.spot is not None
             and str(o.spot.a) == str(battery_plus(circuit)) and o.spot.b is None]  # fmt: skip
    if posts:
        return posts[-1].value, f"line {posts[-1].line}"
    battery = next(p for p in circuit.parts if p.name == battery_plus(circuit).part)
    return number(battery, "emf_v"), "the sheet"


def _flat(circuit: Circuit, seen: Sequence[Observation], amps: Read, o: DrainOptions) -> Json:
    phase = asleep(circuit)
    bounds = (
        ("--ah", o.battery_ah, 1, 2000),
        ("--volts", o.volts, 5, 32),
        ("--celsius", o.celsius, COLDEST, HOTTEST),
    )
    for name, x, low, high in bounds:
        if x is not None and not low <= x <= high:
            raise one(
                "out-of-range", f"{name} {x:g} is not between {low:g} and {high:g}", remedy=f"check {name}"
            )
    ah = o.battery_ah if o.battery_ah is not None else USUAL_AH
    volts, known = (o.volts, "as said") if o.volts is not None else _said_volts(circuit, seen, phase)
    celsius = o.celsius if o.celsius is not None else 20.0
    share = charge_share(volts)
    hours = [hours_left(max(a, LEAST_A), ah, share, celsius) for a in (amps.amps, amps.high, amps.low)]
    return {
        "battery_ah": ah, "battery_ah_source": "as said" if o.battery_ah else "usual: nobody said",
        "volts": volts, "volts_source": known, "charge_share": share,
        "charge_source": table("rest_volts")[0]["source"], "celsius": celsius,
        "cold_share": cold_share(celsius), "cold_source": table("cold_charge")[0]["source"],
        "usable_share": USABLE, "amps": amps.amps, "hours": hours[0], "hours_low": hours[1],
        "hours_high": hours[2],
    }  # fmt: skip


# ---- the answer -------------------------------------------------------------------------------------
def _read_json(r: Read | None) -> Json | None:
    if r is None:
        return None
    return {"amps": r.amps, "low_a": r.low, "high_a": r.high, "line": r.line, "volts": r.volts}


def _fuse_json(r: FuseRow) -> Json:
    rating = r.part.said("rating_a")
    return {
        "fuse": r.part.name, "rating_a": float(rating) if isinstance(rating, (int, float)) else None,
        "place": r.part.place, "ohm": r.ohm, "ohm_source": r.source, "behind": list(r.behind),
        "above": r.above,
        "expected_a": r.expected_a, "awake_a": r.awake_a, "read": _read_json(r.read), "verdict": r.verdict,
    }  # fmt: skip


def _step_json(j: Judgement, n: int, s: Step) -> Json:
    return {
        "rank": n, "what": s.what, "fuse": s.fuse, "line": s.line, "minutes_min": s.minutes,
        "restarts": list(s.restarts), "wait_min": s.wait_min, "why": s.why, "cautions": list(s.cautions),
        "left": _left(j, s.fuse) if s.what == "pull" else [],
    }  # fmt: skip


def _current(rows: Sequence[FuseRow], whole: Read | None, sound_a: float) -> tuple[Read, str]:
    """The current the battery is left with, and where it is known from."""
    if whole is not None:
        return whole, "clamp"
    amps, low, high, missing = explained(rows)
    if any(r.read is not None for r in rows):
        return Read(amps, low, high, 0), "fuses read" + (f", {len(missing)} not read" if missing else "")
    return Read(sound_a, sound_a, sound_a, 0), "the sheet: nothing was read"


def drain(sheet_text: str, readings_text: str, options: DrainOptions = DrainOptions()) -> Json:
    """A night drain on one page (docs/json.md, drain). Exit status 1: more is drawn than the sheet allows."""
    sheet = load(sheet_text)
    circuit = sheet.circuit
    phase = asleep(circuit)
    j = judge(circuit, readings_text).leading
    seen = sorted(j.seen.all, key=lambda o: o.line)
    rows = box(circuit, seen)
    cases = _cases(j)
    battery = battery_plus(circuit).part
    whole = clamped(seen, phase, [battery, *_leads(circuit, battery)])
    amps, low, high, missing = explained(rows)
    todo = list(steps(circuit, rows, whole is not None, _keeping(cases)))
    sound_a = float(abs(cases[0]["sleep_a"] or 0.0))
    limit, source = _limit(circuit)
    flows, known = _current(rows, whole, sound_a)
    modules = [p.name for p in circuit.parts if p.kind == "module"]
    wait, wait_source = wait_min(circuit, modules)
    body = {
        "limit_a": limit, "limit_source": source, "expected_a": sound_a, "whole": _read_json(whole),
        "flows_a": flows.amps, "flows_source": known,
        "flows_read": whole is not None or any(r.read is not None for r in rows),
        "too_much": flows.low > limit,
        "fuses": [_fuse_json(r) for r in rows], "sum_a": amps, "sum_low_a": low, "sum_high_a": high,
        "unread": list(missing), "unfused": list(unfused(circuit)),
        "unexplained_a": whole.amps - amps if whole is not None else None,
        "unexplained_low_a": whole.low - high if whole is not None else None,
        "cases": cases, "tests": [_step_json(j, n, s) for n, s in enumerate(todo, 1)],
        "wait_min": wait, "wait_source": wait_source,
        "minutes_min": sum(s.minutes for s in todo) + max((s.wait_min for s in todo), default=0.0),
        "flat": _flat(circuit, seen, flows, options),
    }  # fmt: skip
    return answer("drain", sheet, body, problems=j.problems, exit_status=1 if flows.low > limit else 0)


def _keeping(cases: Sequence[Json]) -> dict[str, float]:
    """Probability that a module is the one that keeps itself awake, and others with it."""
    out: dict[str, float] = {}
    for c in cases:
        for m in c["first"]:
            out[m] = out.get(m, 0.0) + float(c["probability"])
    return out


def _left(j: Judgement, fuse: str | None) -> list[Json]:
    """What would still flow, all timers run down, with this fuse out: by what leads."""
    if fuse is None:
        return []
    alive, battery, phase = live(j), battery_plus(j.circuit).part, asleep(j.circuit)
    kept = [(h, r[1]) for h, r in zip(alive.index, alive.rows, strict=True) if j.post.probability[h] >= LEAST]
    kept = kept[:MOST_SUSPECTS]
    if not kept:
        return []
    got = solving.solved(j.circuit, [r for _, r in kept], Conditions(pulled=(fuse,)), keep=False)
    amps = np.abs(got.amps(battery, phase))
    return [{"text": estimated(j, h)[0], "amps": float(a)} for (h, _), a in zip(kept, amps, strict=True)]


def _leads(circuit: Circuit, battery: str) -> list[str]:
    """Single wires at a battery post carry all of it."""

    out = []
    for post in ("+", "-"):
        n = wiring(circuit).node(Term(battery, post))
        met = [p for p in touching(circuit).get(-1 if n is None else n, ()) if p.name != battery]
        out += [p.name for p in met if len(met) == 1]
    return out


def _limit(circuit: Circuit) -> tuple[float, str]:
    """What may be drawn asleep: as the sheet says, else the trade's figure."""
    if circuit.draws:
        return circuit.draws[0].max_a, "draw line of the sheet"
    row = next(r for r in table("sleep") if r["what"].startswith("sleep current, normal"))
    return float(row["high"]), row["source"]
