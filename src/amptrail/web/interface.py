"""The page of the interface: every call under /api, what it takes and answers, from its own schema."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from amptrail.web import routes

Json = dict[str, Any]
router = APIRouter(include_in_schema=False)
LIMITS = {"maxLength": "characters at most", "maxItems": "rows at most", "minimum": "or more",
          "maximum": "or less", "minLength": "characters at least"}  # fmt: skip


def _resolved(schema: Json, whole: Json) -> Json:
    ref = schema.get("$ref", "")
    return whole["components"]["schemas"][ref.rsplit("/", 1)[1]] if ref else schema


def _kind(schema: Json, whole: Json) -> str:
    """The type of a field in words."""
    if "anyOf" in schema:
        return " or ".join(_kind(s, whole) for s in schema["anyOf"])
    if "enum" in schema:
        return " or ".join(str(x) for x in schema["enum"])
    if schema.get("type") == "array":
        return f"list of {_kind(schema.get('items', {}), whole)}"
    if "$ref" in schema:
        fields = _resolved(schema, whole).get("properties", {})
        return "{" + ", ".join(fields) + "}"
    limits = [f"{schema[k]:g} {words}" for k, words in LIMITS.items() if k in schema]
    return ", ".join((str(schema.get("type", "anything")), *limits))


def _fields(schema: Json, whole: Json) -> list[Json]:
    found = _resolved(schema, whole)
    must = found.get("required", ())
    return [
        {
            "name": name,
            "kind": _kind(s, whole),
            "about": s.get("description", ""),
            "else": None if name in must else repr(s.get("default")),
        }
        for name, s in found.get("properties", {}).items()
    ]


def calls(whole: Json) -> list[Json]:
    """Every call in the order of its address."""
    rows = []
    for path, methods in sorted(whole["paths"].items()):
        for method, told in methods.items():
            body = told.get("requestBody", {}).get("content", {}).get("application/json", {}).get("schema")
            rows.append(
                {
                    "method": method.upper(),
                    "path": path,
                    "about": told.get("description", told.get("summary", "")),
                    "fields": _fields(body, whole) if body else [],
                    "answers": sorted(
                        (code, a.get("description", "")) for code, a in told.get("responses", {}).items()
                    ),
                }
            )
    return rows


@router.get("/api/docs", response_class=HTMLResponse)
async def docs(request: Request) -> HTMLResponse:
    """The interface for people; `/api/openapi.json` is the same for programs."""
    whole = request.app.openapi()
    return routes.show(request, "interface.html", calls=calls(whole), about=whole["info"]["description"])
