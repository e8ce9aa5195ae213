"""Names and texts as they are written: back-quotes only where a plain word would be misread."""

from __future__ import annotations

import re

from amptrail.circuit.model import Term, key
from amptrail.sheet.lexer import TOKEN, words

_TERM = re.compile(r"\w+[+-]?|[+-]")


# statement words that no rule could take for anything but a name where a name may stand
_SAFE = frozenset({"awake", "asleep", "body", "on", "off"})


def free_text(name: str) -> str:
    """A name where only a name may stand (phases, positions): back-quotes only when it is not a plain one."""
    match = TOKEN.match(name)
    plain = match is not None and match.end() == len(name) and (match["WORD"] or match["PAIR"])
    return name if plain else f"`{name}`"


def name_text(name: str) -> str:
    """A name, in back-quotes when it is a statement word or not a plain one."""
    folded = key(name)
    return f"`{name}`" if folded in words() and folded not in _SAFE else free_text(name)


def terminal_text(name: str) -> str:
    """What follows the dot."""
    return name if _TERM.fullmatch(name) else f"`{name}`"


def term_text(term: Term) -> str:
    """A point as written; a cavity side keeps its dot."""
    if not term.part:
        return name_text(term.name)
    if not term.name:
        return name_text(term.part)
    part = name_text(term.part)
    if ">" in term.part and not part.startswith("`"):  # a run between two terminals ends in one itself
        part = f"`{part}`"
    head, dot, side = term.name.rpartition(".")
    if dot and side in ("a", "b"):
        return f"{part}.{terminal_text(head)}.{side}"
    return f"{part}.{terminal_text(term.name)}"


def quoted(text: str) -> str:
    """Text in double quotes."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
