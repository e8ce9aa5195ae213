"""`findings`: the page someone else can trust, as plain text, made from the log without extra typing."""

from __future__ import annotations

from textwrap import fill, indent

from amptrail.jobs.context import Json, answer, load

WIDTH = 78
PROVEN = 0.95


def _head(title: str, complaint: str | None) -> list[str]:
    lines = [f"FINDINGS  {title}".rstrip(), "=" * WIDTH]
    if complaint:
        lines += ["Complaint", indent(fill(complaint, WIDTH - 2), "  ")]
    return lines


def _found(suspects: Json) -> list[str]:
    rows = suspects["suspects"]
    if suspects["unexplained"]["is"]:
        return [
            "Found",
            "  Nothing in this drawing explains what was read. Check the readings and the drawing first.",
        ]
    if not rows:
        return ["Found", "  Nothing yet: no reading separates anything."]
    first = rows[0]
    ohms = first["severity"]
    size = f", about {ohms['ohm']:.2g} ohm ({ohms['low']:.2g} to {ohms['high']:.2g})" if ohms else ""
    word = "Found" if first["probability"] >= PROVEN else "Most likely, NOT PROVEN"
    lines = [word, f"  {' and '.join(f['text'] for f in first['faults'])}{size}"]
    if first["equivalent"]:
        lines.append("  cannot be told apart by the tests allowed from: " + "; ".join(first["equivalent"]))
    lines.append(f"  Repair: {first['repair']} (about {first['repair_minutes']:g} min)")
    if first["probability"] < PROVEN and len(rows) > 1:
        lines.append("Still fits")
        lines += [f"  {' and '.join(f['text'] for f in r['faults'])}" for r in rows[1:5]]
    return lines


def _readings(readings_text: str) -> list[str]:
    kept = [x.strip() for x in readings_text.splitlines() if x.split("#", 1)[0].strip()]
    return ["Proof readings", *(f"  {x}" for x in kept)] if kept else ["Proof readings", "  none"]


def findings(
    sheet_text: str, readings_text: str, suspects: Json, complaint: str | None = None, done: str | None = None
) -> Json:
    """The findings as text and parts; `suspects` is the answer of the use case of that name."""
    sheet = load(sheet_text)
    neighbours = suspects.get("neighbours", [])
    lines = [
        *_head(sheet.circuit.title, complaint),
        *_found(suspects),
        *_readings(readings_text),
        *(["Neighbours to check before hand-over", *(f"  {n}" for n in neighbours)] if neighbours else []),
        "Done",
        indent(fill(done or "nothing yet", WIDTH - 2), "  "),
        "-" * WIDTH,
        fill("A cause is proven when it can be switched on and off at will, or when feed and ground are good "
             "under load and the part still fails. Before work on airbag, high-voltage, brake, steering or "
             "fuel parts follow the maker's text and local codes.", WIDTH),
    ]  # fmt: skip
    return answer("findings", sheet, {"text": "\n".join(lines) + "\n", "complaint": complaint, "done": done})
