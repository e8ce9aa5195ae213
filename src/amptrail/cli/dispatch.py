"""One command line to one answer object: never raises, never leaves the process, never prints."""

from __future__ import annotations

import json
import re
import traceback
from collections.abc import Sequence
from typing import Any

from typer import TyperException

from amptrail.cli.app import group
from amptrail.cli.files import Files
from amptrail.errors import InputError, Problem, as_row, nearest, one

Json = dict[str, Any]
ALONE = ("batch", "demo", "serve")  # these talk themselves; they give no answer object
HELP = ("-h", "--help")
NOT_ONE_OF = re.compile(r"'([^']*)' is not one of (.*)", re.DOTALL)
WORD = re.compile(r"'([^']*)'")


def _internal(error: Exception) -> Problem:
    where = traceback.extract_tb(error.__traceback__)
    at = f" ({where[-1].filename.rsplit('/', 1)[-1]}:{where[-1].lineno})" if where else ""
    return Problem(
        "internal",
        f"{type(error).__name__}: {error}{at}",
        remedy="this is a fault of the program: keep the sheet and report it",
    )


def failed(command: str | None, error: Exception) -> Json:
    """The answer object of a failure: problems of the input (2) or an internal error (70)."""
    known = isinstance(error, InputError)
    problems = error.problems if isinstance(error, InputError) else (_internal(error),)
    return {
        "amptrail": 1,
        "command": command,
        "laws": None,
        "sheet_sha256": None,
        "exit": 2 if known else 70,
        "problems": [as_row(p) for p in problems],
    }


def said(got: Json) -> str:
    """An answer as one line of JSON; halves of characters, which no UTF-8 holds, are written as escapes.
    A number that JSON cannot hold is a fault of the program, told as one: the next request is answered."""
    try:
        plain = json.dumps(got, ensure_ascii=False, allow_nan=False) + "\n"
    except ValueError as e:
        own = {"id": got["id"]} if "id" in got else {}
        return said({**own, **failed(got.get("command"), e)})
    try:
        plain.encode("utf-8")
    except UnicodeEncodeError:
        return json.dumps(got, allow_nan=False) + "\n"
    return plain


def usage(command: str | None, error: TyperException) -> InputError:
    """What the argument parser found wrong, as a problem of the input."""
    known = tuple(getattr(error, "possibilities", None) or ())
    near = known[0] if known else None
    message = error.format_message() if hasattr(error, "format_message") else str(error)
    choice = NOT_ONE_OF.search(message)
    if choice is not None:
        message, known = f"{choice[1]!r} is not known here", tuple(WORD.findall(choice[2]))
        near = nearest(choice[1], known)
    return one(
        "usage",
        message.strip().split("\n")[0],
        expected=known,
        nearest=near,
        remedy=f"see: amptrail {command} --help" if command else "see: amptrail --help",
    )


def _command(argv: Sequence[str]) -> str:
    names = [n for n in group().commands if n not in ALONE]
    said = argv[0] if argv else ""
    if said in ALONE:
        raise one("not-here", f"{said} gives no answer object", expected=tuple(names),
                  remedy=f"run it by itself: amptrail {said}")  # fmt: skip
    if said not in names:
        raise one("unknown-command", f"no command is called {said!r}", expected=tuple(names),
                  nearest=nearest(said, names), remedy="see: amptrail --help")  # fmt: skip
    return said


def _invoke(name: str, argv: list[str], files: Files) -> Json:
    if any(a in HELP for a in argv):
        raise one("usage", "help is not an answer", remedy="leave out --help")
    command = group().commands[name]
    with command.make_context(f"amptrail {name}", argv, obj=files) as ctx:
        got: Json = command.invoke(ctx)
    return got


def answer(argv: Sequence[str], files: Files) -> Json:
    """Run one command line and return its answer object."""
    name: str | None = None
    try:
        words = [a for a in argv if a != "--json"]
        name = _command(words)
        return _invoke(name, words[1:], files)
    except TyperException as e:
        return failed(name, usage(name, e))
    except RecursionError as e:
        return failed(name, one("too-deep", f"the input is nested too deeply: {e}", remedy="simplify it"))
    except Exception as e:
        return failed(name, e)
