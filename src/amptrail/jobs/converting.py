"""`convert`: other formats in and out, checked for sameness."""

from __future__ import annotations

import json

from amptrail.errors import one
from amptrail.exchange import convert as exchange
from amptrail.jobs.base.context import Json, answer

TARGETS = ("oracle", "sheet", "netlist", "transient", "json")


def convert(text: str, to: str, name: str = "") -> Json:
    """A sheet or a circuit in the neutral format as any of TARGETS (docs/json.md, convert)."""
    if to not in TARGETS:
        raise one("unknown-format", f"cannot convert to {to}", expected=TARGETS, remedy="name one of these")
    made = exchange(text, to)
    shown = made if isinstance(made, str) else json.dumps(made)
    return answer("convert", None, {"to": to, "name": name, "text": shown,
                                    "value": None if isinstance(made, str) else made})  # fmt: skip
