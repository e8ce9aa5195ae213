"""A paper as PDF or PNG, set by typst with the fonts it brings: the same page on every machine, offline.

Text of people goes in as data (`sys_inputs`); nothing in it can be read as markup.
"""

from __future__ import annotations

import io
import json
import re
from base64 import b64decode
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from amptrail.errors import one
from amptrail.paper.blocks import Paper, Size
from amptrail.paper.plates import plates
from amptrail.paper.words import say, speaking

LONG = 22  # letters without a blank: may be broken
EVERY = 11
BREAK = "\u200b"  # zero-width space: a place where a line may end, nothing to see


def _breakable(text: str) -> str:
    """Long words with places to break, so that none leaves its column."""
    return re.sub(
        rf"\S{{{LONG},}}",
        lambda m: BREAK.join(m[0][k : k + EVERY] for k in range(0, len(m[0]), EVERY)),
        text,
    )


def _prepared(value: Any, files: dict[str, bytes]) -> Any:
    """Blocks as the template wants them: pictures and codes as files beside it, long words breakable."""
    if isinstance(value, list):
        return [_prepared(v, files) for v in value]
    if not isinstance(value, dict):
        return _breakable(value) if isinstance(value, str) else value
    kind = value.get("kind")
    if kind == "photograph":
        name = f"{len(files)}.{'png' if value['media'] == 'image/png' else 'jpg'}"
        files[name] = b64decode(value["base64"])
        return {"kind": kind, "caption": _breakable(value["caption"]), "file": name}
    if kind in ("picture", "code"):
        name = f"{len(files)}.svg"
        files[name] = value["svg"].encode() if kind == "picture" else square(value["text"])
        kept = {k: v for k, v in value.items() if k != "svg"}
        return {**kept, "file": name}
    return {k: v if k in ("kind", "title") else _prepared(v, files) for k, v in value.items()}


def _plates(block: dict[str, Any], size: Size) -> list[dict[str, Any]]:
    """A picture that has pages of its own, as one block a page."""
    if not block.get("own_page"):
        return [block]
    made = plates(block["svg"], size)
    out = []
    for n, p in enumerate(made, 1):
        caption = block["caption"]
        if len(made) > 1:
            caption = say("common.part_of", caption=caption, n=n, count=len(made))
        out.append({**block, "svg": p.svg, "caption": caption, "turned": p.turned, "width_pt": p.width_pt,
                    "height_pt": p.height_pt})  # fmt: skip
    return out


def square(text: str) -> bytes:
    """A QR code (ISO/IEC 18004) as SVG."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", border=1, xmldecl=False, omitsize=True)
    return out.getvalue()


def _set(paper: Paper, form: str, ppi: float | None) -> list[bytes]:
    import typst

    compiled: Any = typst.compile  # its stubs do not know sources handed over by name
    files: dict[str, bytes] = {}
    told = {**paper.data(), "heading": paper.title}
    with speaking(paper.language):
        told["blocks"] = [x for b in told["blocks"] for x in _plates(b, paper.size)]
        told["caution"] = say("common.caution")
    data = _prepared(told, files)
    files["main.typ"] = (resources.files("amptrail.paper") / "page.typ").read_bytes()
    try:
        with TemporaryDirectory(prefix="amptrail-") as folder:  # photographs can only be handed over as files
            for name, content in files.items():
                (Path(folder) / name).write_bytes(content)
            got = compiled(
                Path(folder) / "main.typ", root=folder, format=form, ppi=ppi, ignore_system_fonts=True,
                sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
            )  # fmt: skip
    except Exception as e:  # the typesetter raises several kinds; a drawing it cannot read is the usual one
        raise one(
            "not-set", f"the page could not be set: {e}", remedy="leave out the drawing, or use --html"
        ) from e
    return list(got) if isinstance(got, list) else [got]


def pdf(paper: Paper) -> bytes:
    """The paper as one PDF file."""
    return _set(paper, "pdf", None)[0]


def png(paper: Paper, ppi: float = 110.0) -> list[bytes]:
    """Each page as a picture."""
    return _set(paper, "png", ppi)
