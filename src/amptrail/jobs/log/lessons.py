"""History as the log has it: every closed job with a proven cause, read once, learned from in the core.

A job teaches when it is closed and its cause was concluded; what it teaches is kept with its closing, so that
no drawing has to be read again. `job set NAME history=no` takes a job out, `history=yes` lets it back in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from amptrail.errors import InputError
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.joblog import opened
from amptrail.jobs.evidence import history as core
from amptrail.jobs.evidence.history import History, Taught
from amptrail.sheet import parse_fault
from amptrail.store import Entry, JobState, alive, rebuild
from amptrail.store.where import exists, named

OUT = ("no", "off", "false", "0")


def lesson(name: str, state: JobState) -> Taught | None:
    """What a job teaches as it stands; None without a sheet or a cause that the sheet can name."""
    if state.sheet is None or not state.conclusion:
        return None
    try:
        circuit = load(state.sheet).circuit
        halves = [x.strip() for x in state.conclusion.split(" and ") if x.strip()]
        return core.taught(name, circuit, [f for x in halves for f in parse_fault(circuit, x)])
    except InputError:
        return None


def kept(name: str, state: JobState) -> Json | None:
    """A lesson as the closing of a job keeps it."""
    t = lesson(name, state)
    if t is None:
        return None
    return {"conclusion": state.conclusion, "kinds": [list(x) for x in t.kinds],
            "expected": [list(x) for x in t.expected]}  # fmt: skip


def _of(name: str, entries: Sequence[Entry], state: JobState) -> Taught | None:
    """What was kept when the job was closed; worked out anew where it is missing or outdated."""
    last: Mapping[str, Any] = next((e.data for e in reversed(alive(entries)) if e.kind == "close"), {})
    told = last.get("taught")
    if isinstance(told, Mapping) and told.get("conclusion") == state.conclusion:
        return Taught(
            name,
            tuple((str(k), float(n)) for k, n in told["kinds"]),
            tuple((str(k), str(p), float(x)) for k, p, x in told["expected"]),
        )
    return lesson(name, state)


def _gather(but: str | None) -> tuple[History, list[str]]:
    """History without the job in hand, and the names of the jobs taken out."""
    if not exists(named()):  # looking at history makes no log
        return core.NONE, []
    found: list[Taught] = []
    out: list[str] = []
    with opened() as log:
        for name in log.jobs():
            entries = log.entries(name)
            state = rebuild(entries)
            if name == but or not state.closed or not state.conclusion:
                continue
            if str(state.facts.get("history", "")).lower() in OUT:
                out.append(name)
            elif (t := _of(name, entries, state)) is not None:
                found.append(t)
    return core.learn(found), out


def history(but: str | None = None) -> History:
    """What all closed jobs but the one in hand have taught."""
    return _gather(but)[0]


def show() -> Json:
    """Every job that counts and every factor (docs/json.md, history)."""
    known, out = _gather(None)
    rows = [core.learned_json(known, x) for x in known.learned if x.count or x.factor < 1 - core.WORTH_SAYING]
    rows.sort(key=lambda r: -r["factor"])
    return answer("history", None, {"jobs": list(known.jobs), "left_out": out, "learned": rows})
