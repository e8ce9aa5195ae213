"""`demo`: one shipped circuit from complaint to next test and findings."""

from __future__ import annotations

import re
from pathlib import Path

from rich.console import Console

from amptrail.circuit.model import Circuit
from amptrail.cli import show_case
from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.cli.render import screen, show
from amptrail.errors import nearest, one
from amptrail.sheet import parse, parse_readings


def folder() -> Path:
    """Where the demo circuits are: beside the source tree, or in the current folder."""
    here = Path(__file__).resolve().parents[3] / "demos"
    return here if here.is_dir() else Path("demos")


def story(text: str) -> str:
    """The owner's words and the cautions of a demo, without the answer: paragraphs a terminal can wrap."""
    parts = [" ".join(p.split()) for p in text.split("\n## ", 1)[0].split("\n\n")]
    told = [p for p in parts if p and not p.startswith(("**Hidden truth**", "**Expected**"))]
    return "\n\n".join(re.sub(r"\*\*|`|^#+ ", "", p) for p in told)


def points(circuit: Circuit, readings: str) -> tuple[str, ...]:
    """The points somebody has already read: where figures of a healthy circuit help first."""
    said = parse_readings(circuit, readings).items
    found = dict.fromkeys(r.point or str(r.a) for r in said if r.a.name)
    return tuple(found)[:5]


def _step(c: Console, words: str, argv: list[str], files: Files) -> None:
    c.rule(words, align="left", characters="-")
    c.print(f"$ amptrail {' '.join(argv)}\n", markup=False)
    show(answer(argv, files))
    c.print()


def walk(name: str) -> int:
    """Walk a demo; exit status 0, or 2 for an unknown one."""
    names = sorted(p.stem for p in folder().glob("*.sheet"))
    if name not in names:
        raise one(
            "unknown-demo",
            f"no demo is called {name}",
            expected=tuple(names),
            nearest=nearest(name, names),
            remedy="name one of these",
        )
    c = screen()
    base = folder() / name
    told = base.with_suffix(".md")
    if told.exists():
        for paragraph in story(told.read_text(encoding="utf-8")).split("\n\n"):
            show_case.folded(c, paragraph)
            c.print()
    sheet, readings = f"{name}.sheet", f"{name}.readings"
    files = Files({n: (folder() / n).read_text(encoding="utf-8") for n in (sheet, readings)})
    first = answer(["check", sheet], files)["phases"][0]["name"]
    circuit = parse(files.text(sheet))
    said = points(circuit, files.text(readings))
    at = [word for point in said for word in ("--at", point)]
    c.print("What was read so far:")
    c.print(files.text(readings), markup=False)
    _step(c, "Is the sheet sound?", ["check", sheet], files)
    _step(
        c,
        "What would a healthy one show where somebody has been?",
        ["expect", sheet, "--phase", first, *at],
        files,
    )
    _step(c, "What still fits?", ["suspects", sheet, readings], files)
    _step(c, "What to test next, and what each result would mean?", ["next", sheet, readings], files)
    _step(c, "The page to leave behind", ["findings", sheet, readings], files)
    c.print(f"What was really wrong stands in demos/{name}.md.\n", markup=False)
    c.print(
        "Now your own circuit: copy demos/first/lamp.sheet to my.sheet, change\n"
        "it line by line (docs/sheet.md teaches the notation in one page) and write what\n"
        "you read into my.readings. Then, in this order:\n"
        "  amptrail check my.sheet\n"
        "  amptrail suspects my.sheet my.readings\n"
        "  amptrail next my.sheet my.readings",
        markup=False,
    )
    return 0
