"""The front door: `amptrail COMMAND …`. One object with --json, tables for a person without."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence

from amptrail.cli.dispatch import answer, failed
from amptrail.cli.files import Files
from amptrail.cli.options import BY_NAME, COMMANDS, parser
from amptrail.errors import InputError

ABOUT = """amptrail: from a dead circuit and a diagram to the next test worth its minutes.

usage: amptrail COMMAND …        amptrail COMMAND --help teaches the command
"""


def _help() -> str:
    rows = "\n".join(f"  {c.name:10} {c.summary}\n             {c.example}" for c in COMMANDS)
    return f"{ABOUT}\n{rows}\n\nAdd --json for one object a script can read (docs/json.md).\n"


def _one_object(argv: Sequence[str]) -> int:
    got = answer([a for a in argv if a != "--json"], Files())
    sys.stdout.write(json.dumps(got, ensure_ascii=False, allow_nan=False) + "\n")
    return int(got["exit"])


def _batch(argv: Sequence[str]) -> int:
    from amptrail.cli.batch import answers

    options = parser(BY_NAME["batch"]).parse_args(list(argv))
    lines = Files().text(options.requests).splitlines() if options.requests else sys.stdin
    for got in answers(lines):
        sys.stdout.write(json.dumps(got, ensure_ascii=False, allow_nan=False) + "\n")
        sys.stdout.flush()
    return 0


def _for_people(argv: Sequence[str]) -> int:
    from amptrail.cli.progress import told
    from amptrail.cli.render import problems, show

    with told(argv[0]):
        got = answer(argv, Files())
    if got["exit"] in (2, 70):
        sys.stderr.write(problems(got))
        return int(got["exit"])
    show(got)
    return int(got["exit"])


def main(argv: Sequence[str]) -> int:
    """Run the command line; returns the exit status (docs/json.md, Exit)."""
    if not argv or argv[0] in ("-h", "--help", "help"):
        sys.stdout.write(_help())
        return 0
    if argv[0] in BY_NAME and ("--help" in argv or "-h" in argv):
        sys.stdout.write(parser(BY_NAME[argv[0]]).format_help())
        return 0
    try:
        if argv[0] == "batch":
            return _batch(argv[1:])
        if argv[0] == "demo":
            from amptrail.cli.demo import walk

            return walk(parser(BY_NAME["demo"]).parse_args(list(argv[1:])).name)
        return _one_object(argv) if "--json" in argv else _for_people(argv)
    except InputError as e:
        if "--json" in argv:
            sys.stdout.write(json.dumps(failed(argv[0], e)) + "\n")
        else:
            sys.stderr.write(f"{e}\n")
        return 2
    except BrokenPipeError:
        return 0


def run() -> None:
    """Entry point of the installed command."""
    sys.exit(main(sys.argv[1:]))
