"""Lines for a screen of 80 columns: what is longer goes on below, a little further in."""

from __future__ import annotations

from textwrap import wrap

WIDTH = 79


def fold(line: str, indent: str | None = None, hang: str | None = None) -> list[str]:
    """A line within the width. Without `indent` its own stays, and what follows hangs two further in; a word
    is never broken, so that a name or a path can be copied."""
    own = line[: len(line) - len(line.lstrip())] if indent is None else indent
    later = own + "  " if hang is None else hang
    if len(own) + len(line.lstrip() if indent is None else line) <= WIDTH:
        return [line if indent is None else own + line]
    return wrap(
        line.lstrip() if indent is None else line,
        WIDTH,
        break_on_hyphens=False,
        break_long_words=False,
        initial_indent=own,
        subsequent_indent=later,
    )


def folded(text: str) -> str:
    """A text of several lines, each within the width."""
    return "\n".join(x for line in text.split("\n") for x in fold(line))
