"""`demo`: one shipped circuit from complaint to next test and findings."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.cli.render import show
from amptrail.errors import nearest, one


def folder() -> Path:
    """Where the demo circuits are: beside the source tree, or in the current folder."""
    here = Path(__file__).resolve().parents[3] / "demos"
    return here if here.is_dir() else Path("demos")


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
    c = Console(highlight=False)
    base = folder() / name
    story = base.with_suffix(".md")
    if story.exists():
        c.print(story.read_text(encoding="utf-8").split("\n## ", 1)[0].strip(), markup=False)
        c.print()
    sheet, readings = f"{name}.sheet", f"{name}.readings"
    files = Files({n: (folder() / n).read_text(encoding="utf-8") for n in (sheet, readings)})
    phase = answer(["check", sheet], files)["phases"][0]["name"]
    c.print("What was read so far:")
    c.print(files.text(readings), markup=False)
    _step(c, "Is the sheet sound?", ["check", sheet], files)
    _step(c, "What should be read?", ["expect", sheet, "--phase", phase], files)
    _step(c, "What still fits?", ["suspects", sheet, readings], files)
    _step(c, "What is the next test worth?", ["next", sheet, readings], files)
    _step(c, "The page to leave behind", ["findings", sheet, readings], files)
    c.print(
        "Now your own circuit: copy demos/first/lamp.sheet, change it line by line (docs/sheet.md teaches\n"
        "the notation in one page), then: amptrail check my.sheet, amptrail expect my.sheet,\n"
        "and write what you read into my.readings for amptrail suspects and amptrail next.",
        markup=False,
    )
    return 0
