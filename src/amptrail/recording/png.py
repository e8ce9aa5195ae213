"""The picture of a recording as PNG, from the same SVG, by the typesetter with the fonts it brings: the same
picture on every machine, offline."""

from __future__ import annotations

from typing import Any

from amptrail.errors import one

PAGE = '#set page(width: auto, height: auto, margin: 0pt)\n#image("picture.svg")\n'
PPI = 192.0  # two pixels a unit of the drawing, of which there are 96 to the inch


def png(svg: str, ppi: float = PPI) -> bytes:
    """The drawing as one PNG file; InputError `not-drawn` when the typesetter refuses it."""
    import typst

    compiled: Any = typst.compile  # its stubs do not know sources handed over by name
    try:
        got = compiled({"main.typ": PAGE.encode(), "picture.svg": svg.encode()}, format="png", ppi=ppi,
                       ignore_system_fonts=True)  # fmt: skip
    except Exception as e:  # it raises several kinds
        raise one("not-drawn", f"the picture could not be made: {e}", remedy="use --svg instead") from e
    return bytes(got[0] if isinstance(got, list) else got)
