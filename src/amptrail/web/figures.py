"""A figure typed into a field of a page."""

from __future__ import annotations

import re

from amptrail.errors import one

NUMBER = re.compile(r"[-+]?(\d{1,9}(\.\d{0,9})?|\.\d{1,9})")


def figure(said: str, what: str, such_as: str) -> float | None:
    """The number in a field, None when it was left out; a comma is a point. InputError names `what`."""
    text = said.strip().replace(",", ".").replace("\u2212", "-")
    if not text:
        return None
    if not NUMBER.fullmatch(text):
        raise one("no-number", f"{what}: {said.strip()[:40]!r} is no number", remedy=f"such as {such_as}")
    return float(text)
