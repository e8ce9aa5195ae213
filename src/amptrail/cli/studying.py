"""The command `study`: many sheets at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import typer

from amptrail.cli import options as o
from amptrail.cli.app import app, files_of
from amptrail.cli.files import Files
from amptrail.errors import one

Json = dict[str, Any]


def _names(files: Files, asked: list[str]) -> list[str]:
    """The sheets asked for, a folder as the sheets in it, each once."""
    found: list[str] = []
    for name in asked:
        if files.given is None and Path(name).is_dir():
            inside = sorted(str(p) for p in Path(name).glob("*.sheet"))
            if not inside:
                raise one("no-sheets", f"the folder {name} holds no *.sheet", remedy="name another folder")
            found += inside
        else:
            found.append(name)
    return list(dict.fromkeys(found))


def _told(done: int, of: int) -> None:
    if sys.stderr.isatty():
        sys.stderr.write(f"\ramptrail study: {done} of {of} sheets ")
        sys.stderr.flush()


@app.command()
def study(
    ctx: typer.Context, sheets: o.SheetNames, out: o.StudyFolder = None, cluster: o.Cluster = None,
    workers: o.Workers = None, have: o.Have = None, top: o.Top = 10, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """How well faults can be told apart on each sheet, with which tests, and what would help.

    Example: amptrail study circuits --out study
    """
    from amptrail.jobs.studying.studies import Given, studies
    from amptrail.jobs.studying.study import INSTRUMENTS, StudyOptions

    files = files_of(ctx)
    given = [Given(name, files.text(name)) for name in _names(files, sheets)]
    asked = StudyOptions(tuple(have) if have else INSTRUMENTS, top)
    if files.given is not None:  # a request leaves the disk and other machines alone
        return studies(given, asked, None, None, 0)
    return studies(given, asked, Path(out) if out else None, cluster, workers, _told)
