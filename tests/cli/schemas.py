"""The schema files, ready to validate with."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator
from referencing import Registry, Resource

ROOT = Path(__file__).parents[2]
FILES = {p.stem: json.loads(p.read_text(encoding="utf-8")) for p in (ROOT / "docs" / "schema").glob("*.json")}
REGISTRY: Registry[Any] = Registry().with_resources(
    [(s["$id"], Resource.from_contents(s)) for s in FILES.values()]
)


def validate(answer: dict[str, Any], command: str | None = None) -> None:
    """Raise unless the answer is as its schema says, and is plain finite JSON."""
    text = json.dumps(answer, allow_nan=False)
    assert json.loads(text) == answer
    schema = FILES[command or answer["command"]]
    Draft202012Validator(schema, registry=REGISTRY).validate(answer)
