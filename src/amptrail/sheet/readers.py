"""Who read a line: `… by "A. Sample"` behind it, where several people with their own instruments read on one
job."""

from __future__ import annotations

import re

OWN_LINE = re.compile(r'\s*my\s+([\w-]+)\s+"([^"]*)"', re.IGNORECASE)
_TAIL = re.compile(r'\s+by\s+"([^"]*)"\s*$', re.IGNORECASE)


def named(person: str) -> str:
    """A name as it can stand in a line."""
    return " ".join(person.replace('"', "'").replace("#", "").split())


def _told(line: str) -> tuple[str, str]:
    """What a line says, and its remark."""
    from amptrail.sheet.lexer import remark_at  # a log without own instruments is read without the grammar

    at = remark_at(line)
    return line[:at], line[at:]


def signed(line: str, person: str) -> str:
    """The line with who read it behind it, before a remark; as it is where there is nothing to sign."""
    told, remark = _told(line)
    if not person or not told.strip() or _TAIL.search(told):
        return line
    return f'{told.rstrip()} by "{named(person)}"' + (f"  {remark}" if remark else "")


def reader_of(line: str) -> tuple[str, str]:
    """The line without that and its remark, and who read it; as it is and nobody in particular where it is
    not said."""
    told, _ = _told(line)
    found = _TAIL.search(told)
    return (told[: found.start()], found[1]) if found else (line, "")
