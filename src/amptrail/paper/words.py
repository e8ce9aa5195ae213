"""The sentences of the papers, one catalogue a language: `words.toml` in English, `words.XX.toml` others.

What the program says about a circuit (faults, repairs, why a feed is refused) is told in them too: told.py.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from importlib import resources
from typing import Any

from amptrail.errors import nearest, one

ENGLISH = "en"
_speaking: ContextVar[str] = ContextVar("language", default=ENGLISH)


@cache
def languages() -> tuple[str, ...]:
    """Every language there is a catalogue of, English first."""
    names = (p.name.split(".") for p in resources.files("amptrail.paper").iterdir())
    return (ENGLISH, *sorted(n[1] for n in names if n[0] == "words" and n[-1] == "toml" and len(n) == 3))


@cache
def catalogue(language: str) -> dict[str, dict[str, Any]]:
    """The sentences of a language by group and name."""
    name = "words.toml" if language == ENGLISH else f"words.{language}.toml"
    return tomllib.loads((resources.files("amptrail.paper") / name).read_text(encoding="utf-8"))


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Everything said inside is said in this language; InputError for one there is no catalogue of."""
    if language not in languages():
        raise one("no-language", f"no paper speaks {language!r}", expected=languages(),
                  nearest=nearest(language, languages()), remedy="--language en")  # fmt: skip
    token = _speaking.set(language)
    try:
        yield
    finally:
        _speaking.reset(token)


def language() -> str:
    """The language spoken now."""
    return _speaking.get()


def _found(key: str) -> Any:
    group, _, name = key.partition(".")
    told = catalogue(_speaking.get()).get(group, {}).get(name)
    return catalogue(ENGLISH)[group][name] if told is None else told  # better English than no paper


def say(key: str, **values: object) -> str:
    """The sentence `paper.key` with its values filled in; KeyError for a sentence nobody wrote."""
    text = _found(key)
    if not isinstance(text, str):
        raise KeyError(f"{key} is a list: use several()")
    return text.format(**values) if values else text


def several(key: str) -> tuple[str, ...]:
    """The list of sentences `paper.key`."""
    return tuple(_found(key))


def amount(value: float, places: int = 2) -> str:
    """A figure as the language writes it."""
    return f"{value:.{places}f}".replace(".", say("common.decimal"))
