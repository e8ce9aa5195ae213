"""A file on disk is the old one or the new one, never half of either."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterable
from pathlib import Path


def write_whole(path: Path, content: bytes | Iterable[bytes]) -> None:
    """Write a file so that a kill, a full disk or a power cut leaves what was there before. OSError as
    always; what is no plain file (a pipe, a terminal) is written straight."""
    pieces = [content] if isinstance(content, bytes) else content
    target = path.resolve() if path.is_symlink() else path
    try:
        mode = target.stat().st_mode
    except OSError:
        mode = None
    if mode is not None and not stat.S_ISREG(mode):
        with target.open("wb") as f:
            f.writelines(pieces)
        return
    if mode is not None and not os.access(target, os.W_OK):
        raise PermissionError(13, os.strerror(13), str(target))
    part = target.with_name(f".{target.name[:80]}.{os.getpid()}.part")
    try:
        with part.open("wb") as f:
            if mode is not None:
                part.chmod(stat.S_IMODE(mode))
            f.writelines(pieces)
            f.flush()
            os.fsync(f.fileno())
        part.replace(target)
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
