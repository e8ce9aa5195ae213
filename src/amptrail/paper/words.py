"""The sentences of the papers, from one catalogue, so that other languages can follow."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources
from typing import Any


@cache
def _catalogue() -> dict[str, dict[str, Any]]:
    return tomllib.loads((resources.files("amptrail.paper") / "words.toml").read_text(encoding="utf-8"))


def say(key: str, **values: object) -> str:
    """The sentence `paper.key` with its values filled in; KeyError for a sentence nobody wrote."""
    group, _, name = key.partition(".")
    text = _catalogue()[group][name]
    if not isinstance(text, str):
        raise KeyError(f"{key} is a list: use several()")
    return text.format(**values) if values else text


def several(key: str) -> tuple[str, ...]:
    """The list of sentences `paper.key`."""
    group, _, name = key.partition(".")
    return tuple(_catalogue()[group][name])
