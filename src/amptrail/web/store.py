"""Jobs as the pages need them: read and add, in a thread, through the same use case as the command line."""

from __future__ import annotations

import asyncio
import re
import time
import uuid
from typing import Any

from amptrail.errors import InputError, one
from amptrail.jobs.base.joblog import whose
from amptrail.jobs.evidence.history import NONE, History
from amptrail.jobs.log.cases import Case, case, run
from amptrail.jobs.log.lessons import history
from amptrail.jobs.log.tools import tools as in_hands
from amptrail.jobs.solved.own import Own
from amptrail.sheet.said import short
from amptrail.store import alive

Json = dict[str, Any]
LEARNED_S = 300.0
LIFTED = "without conditions"
SEARCHED = 30  # of the latest jobs
NAME = re.compile(r"[^\W_][\w. -]{0,60}")


def proper(name: str) -> str:
    """A name that can be a job's; InputError otherwise. Names are never paths."""
    if not NAME.fullmatch(name.strip()):
        raise one(
            "bad-name",
            f"{name[:60]!r} cannot be the name of a job",
            expected=("letters, digits, - _ . blank",),
            remedy="use up to 61 letters, digits, blanks, - _ and . such as gate-17",
        )
    return name.strip()


async def jobs() -> list[str]:
    """Names of the jobs, latest first."""
    got = await asyncio.to_thread(run, "list", None, (), no_files)
    return list(reversed(got["jobs"]))


Listed = list[tuple[str, str]]  # name and complaint


def _latest(most: int) -> tuple[Listed, Listed]:
    found = [case(name) for name in reversed(run("list", None, (), no_files)["jobs"][-SEARCHED:])]
    rows = [(c.state.closed, (c.name, c.state.complaint or "")) for c in found]
    return [r for closed, r in rows if not closed][:most], [r for closed, r in rows if closed][:most]


async def latest(most: int) -> tuple[Listed, Listed]:
    """The latest jobs that are open, and those that are closed."""
    return await asyncio.to_thread(_latest, most)


def free_name(base: str, taken: list[str]) -> str:
    """`base-1` and so on: a name no job has, for who has no hand free to type one."""
    return next(x for n in range(1, len(taken) + 2) if (x := f"{base}-{n}") not in taken)


def next_name(found: Case, taken: list[str]) -> str:
    """`gate-2` for a vehicle that is back of job `gate`, and `gate-3` when it comes once more."""
    base = re.sub(r"-\d+$", "", found.name) if "comeback" in found.state.facts else found.name
    return next(x for n in range(2, len(taken) + 3) if (x := f"{base}-{n}") not in taken)


TITLE = re.compile(r"^\s*vehicle\s+\"([^\"]*)\"", re.MULTILINE)


def vehicle(found: Case) -> str:
    """The vehicle as it was told, else as the sheet calls it."""
    title = TITLE.search(found.state.sheet or "")
    return str(found.state.facts.get("vehicle") or (title[1] if title else ""))


async def read(name: str) -> Case:
    """A job; InputError when there is none."""
    return await asyncio.to_thread(case, name)


async def told(action: str, name: str, text: str, entry: str | None = None, **more: Any) -> Json:
    """Do one thing to a job."""
    complaint = more.pop("complaint", None)
    return await asyncio.to_thread(
        run, action, proper(name), [text] if text else [], no_files, entry, complaint, more
    )


async def add(name: str, text: str, entry: str | None = None) -> None:
    """A reading of one line, or with its standing conditions before and after it, each line once. When a
    line is refused, those before it are taken back: no condition is left standing by accident."""
    lines = [x for x in text.split("\n") if x.strip()]
    base = entry or (uuid.uuid4().hex[:12] if len(lines) > 1 else None)
    added: list[str] = []
    try:
        for k, line in enumerate(lines):
            got = await told("add", name, line, base if k == 0 or base is None else f"{base}.{k}")
            added += got["added"]
    except InputError:
        for one_ in reversed(added):
            await told("undo", name, one_)
        raise


async def tools(found: Case | None) -> Own:
    """The instruments in the hands of who is at the device."""
    text = found.state.readings_text if found is not None else ""
    return await asyncio.to_thread(in_hands, text, whose())


LEARNED: dict[str, tuple[float, History]] = {}


async def learned(name: str) -> History:
    """What all closed jobs but this one have taught; looked up anew after some minutes."""
    then, known = LEARNED.get(name, (-LEARNED_S, NONE))
    if time.monotonic() - then > LEARNED_S:
        known = await asyncio.to_thread(history, name)
        LEARNED[name] = (time.monotonic(), known)
    return known


def _base(entry: str) -> str:
    return re.sub(r"\.\d+$", "", entry)


def said(found: Case) -> list[tuple[str, str, str]]:
    """What was read, in order, as (entry, words, who entered it): a reading with its conditions is one."""
    grouped: dict[str, list[str]] = {}
    for i, line in found.state.readings:
        grouped.setdefault(_base(i), []).append(line)
    by = entered_by(found)
    return [
        (i, " · ".join(x for x in lines if x != LIFTED) or LIFTED, by.get(i, ""))
        for i, lines in grouped.items()
    ]


def entered_by(found: Case) -> dict[str, str]:
    """Who entered what, by the id of the entry."""
    return {e.id: e.by for e in found.entries}


async def undo(name: str, entry: str, own_id: str | None = None) -> None:
    """Take back an entry with all its lines; empty: what was read last, or the conclusion after it."""
    found = await read(name)
    if not entry and found.state.conclusion:
        for k, i in enumerate(_concluding(found)):
            await told("undo", name, i, own_id if k == 0 or not own_id else f"{own_id}.{k}")
        return
    base = _base(entry or (found.state.readings[-1][0] if found.state.readings else ""))
    together = [i for i, _ in found.state.readings if _base(i) == base]
    for k, i in enumerate(reversed(together or [entry])):
        await told("undo", name, i, own_id if k == 0 or not own_id else f"{own_id}.{k}")


def _concluding(found: Case) -> list[str]:
    """Every entry of the conclusion, the latest first: the fault, its cause, the repair that proved it, and
    what was new from there on."""
    left = alive(found.entries)
    heads = tuple(f"{e.id}." for e in left if e.kind == "conclusion")
    return [e.id for e in reversed(left) if e.kind == "conclusion" or e.id.startswith(heads)]


async def conclude(name: str, fault: str, cause: str = "", entry: str | None = None) -> None:
    """The fault that the repair has proven, with what caused it when that is known. On a second line: what
    was done to it, which the papers tell; taking the conclusion back takes it back too."""
    more = {"cause": cause} if cause.strip() else {}
    proven, repair = (x.strip() for x in fault.partition("\n")[::2])
    base = entry or uuid.uuid4().hex[:12]
    await told("conclude", name, proven, base, **more)
    if proven:
        await told("done", name, repair or f"{short(proven)}: repaired", f"{base}.1")


def count(found: Case) -> int:
    """How many things were said to a job: a page with another number on it is old."""
    s = found.state
    return len(s.readings) + bool(s.conclusion) + bool(s.cause) + len(s.feeds) + len(s.repairs) + len(s.left)


def version(found: Case) -> str:
    """The entry that holds the sheet of a job as it stands."""
    return next((e.id for e in reversed(alive(found.entries)) if e.kind == "sheet"), "")


async def change(name: str, sheet: str, base: str) -> Json:
    """Another version of the sheet, when nobody has changed it since `base`, and all that was read still has
    its points."""
    more = {"base": base} if base else {}
    return await asyncio.to_thread(run, "sheet", proper(name), ["page"], lambda _: sheet, None, None, more)


async def begin(name: str, sheet: str, complaint: str, entry: str | None = None) -> Json:
    """A new job with its sheet."""
    return await asyncio.to_thread(
        run, "new", proper(name), ["page"], lambda _: sheet, entry, complaint or None
    )


def no_files(name: str) -> str:
    """What the use case reads files with."""
    raise one("no-such-file", f"the pages read no files: {name}", remedy="paste the text")
