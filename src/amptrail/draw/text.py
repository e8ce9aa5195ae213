"""Text in the drawing: how wide it is at most, how it is broken into lines, how it is made harmless."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

NAME_PX, DETAIL_PX, LINE_PX = 12.0, 11.0, 13
MOST_PX = 92  # a label line is broken here

# Advance widths in em of a wide common sans-serif face, bold, rounded up (DejaVu Sans Bold, read from the
# face with a font library): whatever face a machine has instead is seldom wider.
_NARROW = frozenset("iljI.,:;|!'")
_HALF = frozenset('frt-()[]{}/\\ "*°²')
_WIDE = frozenset("mwMW%@&#—…→▼▲")


def width(text: str, size_px: float = DETAIL_PX) -> float:
    """Upper estimate of the width of a line of text in px."""
    ems = 0.0
    for c in text:
        if c in _NARROW:
            ems += 0.42
        elif c in _HALF:
            ems += 0.52
        elif c in _WIDE or unicodedata.east_asian_width(c) in "WF":
            ems += 1.12
        else:
            ems += 0.86 if c.isupper() else 0.72
    return ems * size_px


def clean(text: str) -> str:
    """The text without what XML cannot hold: control characters and unpaired surrogates become `?`."""
    return "".join(
        c if c.isprintable() and not 0xD800 <= ord(c) <= 0xDFFF else ("?" if not c.isspace() else " ")
        for c in text
    )


def escape(text: str) -> str:
    """Text for XML content and double-quoted attributes."""
    return (
        clean(text)
        .replace("&", "&amp;")
        .replace("<", "&lt;")
        .replace(">", "&gt;")
        .replace('"', "&quot;")
        .replace("'", "&#39;")
    )


def _cut(text: str, size_px: float, most_px: float) -> str:
    """As much of the text as fits, with an ellipsis when something is left out."""
    if width(text, size_px) <= most_px:
        return text
    while text and width(text + "…", size_px) > most_px:
        text = text[:-1]
    return text + "…"


def _pieces(word: str, size_px: float, most_px: float) -> list[str]:
    """A word too long for a line in pieces: after `_`, `-`, `.`, `>`, else wherever it is full."""
    out: list[str] = []
    while width(word, size_px) > most_px:
        fits = next(k for k in range(len(word), 0, -1) if k == 1 or width(word[:k], size_px) <= most_px)
        joint = max((k + 1 for k in range(fits) if word[k] in "_-.>" and 0 < k + 1 < len(word)), default=fits)
        out.append(word[:joint])
        word = word[joint:]
    return [*out, word] if word else out


def broken(text: str, size_px: float = DETAIL_PX, most_px: float = MOST_PX, lines: int = 2) -> list[str]:
    """Words packed into at most `lines` lines of `most_px`; what does not fit ends in an ellipsis."""
    out: list[str] = []
    for word in clean(text).split():
        for k, piece in enumerate(_pieces(word, size_px, most_px)):
            glue = " " if k == 0 else ""
            if out and (width(f"{out[-1]}{glue}{piece}", size_px) <= most_px or len(out) == lines):
                out[-1] = f"{out[-1]}{glue}{piece}"
            else:
                out.append(piece)
    return [_cut(line, size_px, most_px) for line in out]


def widest(lines: Iterable[str], size_px: float = DETAIL_PX) -> float:
    """Width of the widest line in px."""
    return max((width(x, size_px) for x in lines), default=0.0)
