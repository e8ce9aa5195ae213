"""The front door: `amptrail COMMAND …`. One object with --json, tables for a person without."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence

from typer import TyperException

from amptrail.cli.app import group
from amptrail.cli.dispatch import ALONE, HELP, answer, failed, said, usage
from amptrail.cli.files import Files
from amptrail.errors import InputError

RARELY = (200_000, 20, 20)  # looking for garbage among what is loaded took a tenth of a short command
VERBOSE = "--verbose"  # with any command: what the solver had to do, on standard error
STOPPED = 130  # by Ctrl-C, as shells tell it
SPEAKING = (*HELP, "--install-completion", "--show-completion")


def _for_people(argv: Sequence[str]) -> int:
    from amptrail.cli.progress import told
    from amptrail.cli.render import problems, show

    with told(argv[0]):
        got = answer(argv, Files(for_people=True))
    if got["exit"] in (2, 70):
        sys.stderr.write(problems(got))
        return int(got["exit"])
    show(got)
    return int(got["exit"])


def _by_typer(argv: Sequence[str]) -> int:
    """Help, completion, and the commands that talk themselves."""
    got = group().main(list(argv), prog_name="amptrail", standalone_mode=False)
    return got if isinstance(got, int) else 0


def main(argv: Sequence[str]) -> int:
    """Run the command line; returns the exit status (docs/json.md, Exit)."""
    as_json, verbose = "--json" in argv, VERBOSE in argv
    argv = [a for a in argv if a != VERBOSE]
    name = next((a for a in argv if not a.startswith("-")), None)
    try:
        if (
            not argv
            or name in ALONE
            or any(a in SPEAKING for a in argv)
            or "_AMPTRAIL_COMPLETE" in os.environ
        ):
            return _by_typer(argv or ["--help"])
        if not as_json:
            return _for_people(argv)
        got = answer(argv, Files())
        sys.stdout.write(said(got))
        return int(got["exit"])
    except (InputError, TyperException) as e:
        error = e if isinstance(e, InputError) else usage(name, e)
        if as_json:
            sys.stdout.write(said(failed(name, error)))
        else:
            from amptrail.cli.fold import folded

            sys.stderr.write(f"{folded(str(error))}\n")
        return 2
    except BrokenPipeError:
        return 0
    finally:
        if verbose:
            from amptrail.solve.tally import told

            sys.stderr.write(f"{told()}\n")


def run() -> None:
    """Entry point of the installed command."""
    gc.set_threshold(*RARELY)
    try:
        status = main(sys.argv[1:])
    except KeyboardInterrupt:
        sys.stderr.write("\nstopped\n")
        status = STOPPED
    sys.exit(status)
