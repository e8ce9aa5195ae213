"""Compiled code on disk that is older than a source it was made from is thrown away.

The compiler's cache looks only at the file a function stands in, not at the functions it calls: after an edit
to an element law the old law would go on being used. So each file's machine code is held against that file
and all it imports from here, near and far; what does not depend on an edit stays.
"""

from __future__ import annotations

import re
from pathlib import Path

IMPORTS = re.compile(r"^from amptrail\.solve(?:\.(\w+))? import (\([^)]*\)|[\w, ]+)", re.MULTILINE)


def drop_stale(folder: Path) -> int:
    """Remove cached machine code of `folder` older than its own sources; how many files went."""
    texts = {p.stem: p.read_text(encoding="utf-8") for p in folder.glob("*.py")}
    newest = {name: (folder / f"{name}.py").stat().st_mtime for name in texts}
    age = {
        name: max(newest[n] for n in _closure(name, texts)) for name, text in texts.items() if "@njit" in text
    }
    gone = 0
    for index in (folder / "__pycache__").glob("*.nb[ic]"):
        try:
            if index.stat().st_mtime < age.get(index.name.split(".")[0], float("inf")):
                index.unlink()
                gone += 1
        except OSError:
            continue  # another process was quicker, or the folder is read-only
    return gone


def _closure(name: str, texts: dict[str, str]) -> set[str]:
    """The file and every file of the folder it imports, directly or not."""
    found, ahead = {name}, [name]
    while ahead:
        for module, names in IMPORTS.findall(texts[ahead.pop()]):
            for n in {module, *re.findall(r"\w+", names)} & texts.keys() - found:
                found.add(n)
                ahead.append(n)
    return found
