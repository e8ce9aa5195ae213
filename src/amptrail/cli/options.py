"""The arguments of every command, as the contract names them (docs/json.md)."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NoReturn

from amptrail.errors import one


class Parser(argparse.ArgumentParser):
    """An argument parser that raises InputError instead of leaving the process (batch must go on)."""

    def error(self, message: str) -> NoReturn:
        raise one("usage", f"{self.prog}: {message}", remedy=f"see: {self.prog} --help")


@dataclass(frozen=True)
class Command:
    """A command: what it is for, an example, its arguments, and what it does with them."""

    name: str
    summary: str
    example: str
    arguments: Callable[[Parser], None]


def _sheet(p: Parser) -> None:
    p.add_argument("sheet", metavar="SHEET", help="a sheet file, or a job name")


def _readings(p: Parser) -> None:
    _sheet(p)
    p.add_argument("readings", metavar="READINGS", nargs="?", help="a readings file (not needed for a job)")


def _expect(p: Parser) -> None:
    _sheet(p)
    p.add_argument("--phase", action="append", default=[], help="phase of the sheet; repeat for more")
    p.add_argument(
        "--at", action="append", default=[], metavar="POINT", help="point to read; repeat for more"
    )
    p.add_argument("--with", dest="instruments", action="append", default=[], metavar="INSTRUMENT")
    p.add_argument("--fault", action="append", default=[], metavar="TEXT", help="twice: one double fault")
    p.add_argument("--faults", metavar="FILE", help="one fault, or `A and B`, a line: one run each")
    p.add_argument("--every-fault", action="store_true")
    p.add_argument("--feed", metavar="TEXT")
    p.add_argument("--cycles", type=int, default=1)
    p.add_argument("--start", default="asleep", help="asleep, or awake:PHASE")
    p.add_argument("--nominal", action="store_true", help="no bands")


def _suspects(p: Parser) -> None:
    _readings(p)
    p.add_argument("--top", type=int, default=10)
    p.add_argument("--doubles", choices=("auto", "off", "all"), default="auto")
    p.add_argument("--seed", type=int, default=0)


def _next(p: Parser) -> None:
    _readings(p)
    p.add_argument("--place", "--at", "--from", dest="place", metavar="PLACE", help="where you are now")
    p.add_argument("--start-phase", metavar="PHASE", help="the phase the vehicle is in now")
    p.add_argument("--open", action="append", default=[], metavar="PLACE", help="what is laid open already")
    p.add_argument("--helper", choices=("yes", "no"), default="yes")
    p.add_argument("--have", action="append", default=[], metavar="INSTRUMENT")
    p.add_argument("--without", action="append", default=[], metavar="INSTRUMENT|helper")
    p.add_argument("--cannot", action="append", default=[], metavar="POINT")
    p.add_argument("--budget-ms", type=int)
    p.add_argument("--doubles", choices=("auto", "off", "all"), default="auto")
    p.add_argument("--seed", type=int, default=0)


def _trail(p: Parser) -> None:
    _sheet(p)
    p.add_argument("--at", required=True, metavar="POINT")
    p.add_argument("--phase", required=True)
    p.add_argument("--fault", action="append", default=[], metavar="TEXT")
    p.add_argument("--feed", metavar="TEXT")


def _size(p: Parser) -> None:
    p.add_argument("--amps", type=float, required=True)
    p.add_argument("--length", type=float, required=True, metavar="M", help="metres, one way")
    p.add_argument("--drop", type=float, metavar="V")
    p.add_argument("--place", default="cabin", help="cabin, engine-bay, outside, underbody")


def _findings(p: Parser) -> None:
    _readings(p)
    p.add_argument("--complaint")
    p.add_argument("--done")


def _convert(p: Parser) -> None:
    p.add_argument("file", metavar="FILE")
    p.add_argument("--to", choices=("oracle", "sheet", "netlist", "json"), default="sheet")


def _batch(p: Parser) -> None:
    p.add_argument("--requests", metavar="FILE", help="read requests from a file instead of standard input")


def _job(p: Parser) -> None:
    p.add_argument("action", choices=("new", "add", "undo", "show", "list", "export", "import"))
    p.add_argument("name", nargs="?", help="the job")
    p.add_argument("text", nargs="*", help="new: SHEET file; add: one readings line; undo: entry id")
    p.add_argument("--id", dest="entry", help="your own id of the entry: adding it twice adds it once")
    p.add_argument("--complaint")


def _demo(p: Parser) -> None:
    p.add_argument("name", nargs="?", default="sprayer", help="which shipped circuit to walk")


COMMANDS: tuple[Command, ...] = (
    Command(
        "check", "is the sheet sound; every problem with line and remedy", "amptrail check van.sheet", _sheet
    ),
    Command(
        "expect",
        "what every point should read, with bands",
        "amptrail expect van.sheet --phase cranking --with meter",
        _expect,
    ),
    Command(
        "suspects",
        "what still fits and what each reading ruled out",
        "amptrail suspects van.sheet van.readings",
        _suspects,
    ),
    Command(
        "next", "the visits worth their minutes", "amptrail next van.sheet van.readings --place dash", _next
    ),
    Command(
        "trail",
        "where a current comes from and goes",
        "amptrail trail van.sheet --at K4.87 --phase running",
        _trail,
    ),
    Command("size", "wire and fuse for a current and a length", "amptrail size --amps 12 --length 4", _size),
    Command(
        "findings", "the page someone else can trust", "amptrail findings van.sheet van.readings", _findings
    ),
    Command("convert", "other formats in and out", "amptrail convert circuit.json --to sheet", _convert),
    Command("batch", "many requests through one warm process", "amptrail batch < requests.jsonl", _batch),
    Command(
        "job", "a case kept in the log", "amptrail job new gate --complaint 'will not open' gate.sheet", _job
    ),
    Command("demo", "a walk from complaint to findings", "amptrail demo sprayer", _demo),
)
BY_NAME = {c.name: c for c in COMMANDS}


def parser(command: Command) -> Parser:
    """The argument parser of one command."""
    p = Parser(
        prog=f"amptrail {command.name}",
        description=command.summary.capitalize() + ".",
        epilog=f"example:\n  {command.example}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    p.add_argument("--json", action="store_true", help="print one JSON object (docs/json.md)")
    command.arguments(p)
    return p


Namespace = Any
