"""Who read a line: `… by "A. Sample"` behind it, where several people with their own instruments read on one
job."""

from __future__ import annotations

import re

OWN_LINE = re.compile(r'\s*my\s+([\w-]+)\s+"([^"]*)"', re.IGNORECASE)
_TAIL = re.compile(r'\s+by\s+"([^"]*)"\s*(?:#.*)?$', re.IGNORECASE)


def named(person: str) -> str:
    """A name as it can stand in a line."""
    return " ".join(person.replace('"', "'").replace("#", "").split())


def signed(line: str, person: str) -> str:
    """The line with who read it behind it, before a comment; as it is where there is nothing to sign."""
    told, hash_, comment = line.partition("#")
    if not person or not told.strip() or _TAIL.search(told):
        return line
    return f'{told.rstrip()} by "{named(person)}"' + (f"  {hash_}{comment}" if hash_ else "")


def reader_of(line: str) -> tuple[str, str]:
    """The line without that, and who read it; nobody in particular where it is not said."""
    found = _TAIL.search(line)
    return (line[: found.start()], found[1]) if found else (line, "")
