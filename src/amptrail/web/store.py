"""Jobs as the pages need them: read and add, in a thread, through the same use case as the command line."""

from __future__ import annotations

import asyncio
import re
from typing import Any

from amptrail.errors import one
from amptrail.jobs.cases import Case, case, run

Json = dict[str, Any]
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_. -]{0,60}")


def proper(name: str) -> str:
    """A name that can be a job's; InputError otherwise. Names are never paths."""
    if not NAME.fullmatch(name.strip()):
        raise one(
            "bad-name",
            f"{name[:60]!r} cannot be the name of a job",
            expected=("letters, digits, - _ . blank",),
            remedy="use a short name, such as gate-17",
        )
    return name.strip()


async def jobs() -> list[str]:
    """Names of the jobs, latest first."""
    got = await asyncio.to_thread(run, "list", None, (), _no_files)
    return list(reversed(got["jobs"]))


async def read(name: str) -> Case:
    """A job; InputError when there is none."""
    return await asyncio.to_thread(case, name)


async def told(action: str, name: str, text: str, entry: str | None = None, **more: Any) -> Json:
    """Do one thing to a job."""
    complaint = more.pop("complaint", None)
    return await asyncio.to_thread(
        run, action, proper(name), [text] if text else [], _no_files, entry, complaint, more
    )


async def begin(name: str, sheet: str, complaint: str, entry: str | None = None) -> Json:
    """A new job with its sheet."""
    return await asyncio.to_thread(
        run, "new", proper(name), ["page"], lambda _: sheet, entry, complaint or None
    )


def _no_files(name: str) -> str:
    raise one("no-such-file", f"the pages read no files: {name}", remedy="paste the text")
