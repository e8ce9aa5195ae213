"""One registry from command to use case: arguments in, the answer object out. Imports lazily, so that
`check` never waits for the solver."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from typing import Any

from amptrail.cli.files import Files
from amptrail.cli.options import BY_NAME, COMMANDS, Namespace, parser
from amptrail.errors import InputError, nearest, one

Json = dict[str, Any]


def _job_texts(a: Namespace, files: Files) -> tuple[str, str]:
    """Sheet and readings text: from two files, or from a job of that name."""
    if a.readings is None and not files.exists(a.sheet):
        from amptrail.jobs.cases import case

        return case(a.sheet).texts()
    return files.text(a.sheet), files.text(a.readings) if a.readings else ""


def _check(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.check import check

    return check(files.text(a.sheet))


def _expect(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.expect import ExpectOptions, expect

    options = ExpectOptions(
        tuple(a.phase),
        tuple(a.at),
        tuple(a.instruments),
        tuple(a.fault),
        files.text(a.faults) if a.faults else None,
        a.every_fault,
        a.feed,
        a.cycles,
        a.start,
        a.nominal,
    )
    return expect(files.text(a.sheet), options)


def _suspects(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.suspects import SuspectOptions, suspects

    sheet, readings = _job_texts(a, files)
    return suspects(sheet, readings, SuspectOptions(a.top, a.doubles, a.seed))


def _next(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.nexttest import NextOptions, next_tests

    sheet, readings = _job_texts(a, files)
    options = NextOptions(
        a.place,
        a.start_phase,
        tuple(a.open),
        a.helper == "yes",
        tuple(a.have),
        tuple(a.without),
        tuple(a.cannot),
        a.budget_ms,
        a.doubles,
        a.seed,
    )
    return next_tests(sheet, readings, options)


def _trail(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.trail import trail

    return trail(files.text(a.sheet), a.at, a.phase, tuple(a.fault), a.feed)


def _size(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.sizing import size

    return size(a.amps, a.length, a.drop, a.place)


def _findings(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.findings import findings
    from amptrail.jobs.suspects import suspects

    sheet, readings = _job_texts(a, files)
    return findings(sheet, readings, suspects(sheet, readings), a.complaint, a.done)


def _convert(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.converting import convert

    return convert(files.text(a.file), a.to, a.file)


def _job(a: Namespace, files: Files) -> Json:
    from amptrail.jobs.cases import run

    return run(a.action, a.name, a.text, files.text, a.entry, a.complaint)


RUN: dict[str, Callable[[Namespace, Files], Json]] = {
    "check": _check,
    "expect": _expect,
    "suspects": _suspects,
    "next": _next,
    "trail": _trail,
    "size": _size,
    "findings": _findings,
    "convert": _convert,
    "job": _job,
}


def failed(command: str | None, error: Exception) -> Json:
    """The answer object of a failure: problems of the input (2) or an internal error (70)."""
    if isinstance(error, InputError):
        rows = [
            {
                "line": p.line,
                "column": p.column,
                "severity": p.severity,
                "code": p.code,
                "message": p.message,
                "expected": list(p.expected),
                "nearest": p.nearest,
                "remedy": p.remedy,
            }
            for p in error.problems
        ]
        status = 2
    else:
        where = traceback.extract_tb(error.__traceback__)
        at = f" ({where[-1].filename.rsplit('/', 1)[-1]}:{where[-1].lineno})" if where else ""
        rows = [
            {
                "line": 0,
                "column": 0,
                "severity": "error",
                "code": "internal",
                "message": f"{type(error).__name__}: {error}{at}",
                "expected": [],
                "nearest": None,
                "remedy": "this is a fault of the program: keep the sheet and report it",
            }
        ]
        status = 70
    return {
        "amptrail": 1,
        "command": command,
        "laws": None,
        "sheet_sha256": None,
        "exit": status,
        "problems": rows,
    }


def _command(argv: Sequence[str]) -> str:
    names = [c.name for c in COMMANDS]
    if not argv or argv[0] not in BY_NAME:
        said = argv[0] if argv else ""
        raise one(
            "unknown-command",
            f"no command is called {said!r}",
            expected=tuple(names),
            nearest=nearest(said, names),
            remedy="see: amptrail --help",
        )
    return argv[0]


def answer(argv: Sequence[str], files: Files) -> Json:
    """Run one command line and return its answer object; never raises, never leaves the process."""
    name: str | None = None
    try:
        name = _command(argv)
        if name not in RUN:
            raise one("not-here", f"{name} cannot be run inside a batch", expected=tuple(RUN))
        arguments = parser(BY_NAME[name]).parse_args(list(argv[1:]))
        return RUN[name](arguments, files)
    except SystemExit:
        return failed(name, one("usage", "help is not an answer", remedy="leave out --help"))
    except RecursionError as e:
        return failed(name, one("too-deep", f"the input is nested too deeply: {e}", remedy="simplify it"))
    except Exception as e:
        return failed(name, e)
