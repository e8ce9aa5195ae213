"""A paper as one HTML file: nothing from elsewhere, every text of a person escaped, drawings as pictures
that run nothing."""

from __future__ import annotations

from base64 import b64encode
from functools import cache
from typing import Any

from amptrail.paper.blocks import Paper
from amptrail.paper.typeset import square
from amptrail.paper.words import say, speaking


@cache
def _template() -> Any:
    from jinja2 import Environment, PackageLoader

    return Environment(loader=PackageLoader("amptrail.paper", "."), autoescape=True).get_template(
        "page.html.j2"
    )


def _with_pictures(block: dict[str, Any]) -> dict[str, Any]:
    kind = block["kind"]
    if kind == "columns":
        return {**block, "columns": [[_with_pictures(b) for b in c] for c in block["columns"]]}
    if kind in ("picture", "code"):
        drawn = block["svg"].encode() if kind == "picture" else square(block["text"])
        # an SVG inside <img> runs no script and loads nothing, whatever it says
        return {**block, "uri": "data:image/svg+xml;base64," + b64encode(drawn).decode()}
    return block


def html(paper: Paper) -> str:
    """The paper as HTML text."""
    data = paper.data()
    data["blocks"] = [_with_pictures(b) for b in data["blocks"]]
    with speaking(paper.language):
        marks = {"yes": f"✓ {say('common.shown')}:", "no": f"✗ {say('common.not_so')}:",
                 "open": f"□ {say('common.missing')}:"}  # fmt: skip
        return str(_template().render(paper=data, marks=marks, caution=say("common.caution")))
