"""Compiled code on disk that is older than any source of the kernel is thrown away.

The compiler's cache looks only at the file a function stands in, not at the functions it calls: after an edit
to an element law the old law would go on being used.
"""

from __future__ import annotations

from pathlib import Path


def drop_stale(folder: Path) -> int:
    """Remove cached machine code of `folder` older than its newest source; how many files went."""
    compiled = [p for p in folder.glob("*.py") if "@njit" in p.read_text(encoding="utf-8")]
    newest = max((p.stat().st_mtime for p in compiled), default=0.0)
    gone = 0
    for index in (folder / "__pycache__").glob("*.nb[ic]"):
        try:
            if index.stat().st_mtime < newest:
                index.unlink()
                gone += 1
        except OSError:
            continue  # another process was quicker, or the folder is read-only
    return gone
