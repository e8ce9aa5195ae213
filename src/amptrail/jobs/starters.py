"""Sheets to start from: a template a kind of circuit, each a sheet like any other."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources

from amptrail.errors import nearest, one


@dataclass(frozen=True, slots=True)
class Template:
    """A name, what it is in a line, and the sheet."""

    name: str
    title: str
    sheet: str


@cache
def templates() -> tuple[Template, ...]:
    """All templates, by name."""
    folder = resources.files("amptrail.jobs") / "templates"
    found = []
    for file in sorted(folder.iterdir(), key=lambda f: f.name):
        if file.name.endswith(".sheet"):
            text = file.read_text(encoding="utf-8")
            title = text.split('vehicle "', 1)[1].split('"', 1)[0]
            found.append(Template(file.name.removesuffix(".sheet"), title, text))
    return tuple(found)


def template(name: str) -> Template:
    """One template; InputError when there is none of that name."""
    for t in templates():
        if t.name == name:
            return t
    names = [t.name for t in templates()]
    raise one(
        "no-template",
        f"no template is called {name}",
        expected=tuple(names),
        nearest=nearest(name, names),
        remedy="choose one of these",
    )
