"""Columns written to disk while a file is being read, so that memory stays bounded."""

from __future__ import annotations

import tempfile
from pathlib import Path
from types import TracebackType
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray


class Spool:
    """Appends blocks to one file a column, in a folder that lives as long as the process, then hands out
    memory maps.

    Use as a context manager; `maps()` after it. `width` is how many columns, `kind` their sample type.
    """

    def __init__(self, width: int, kind: type[np.float32] | type[np.float64] = np.float32) -> None:
        self._home = tempfile.TemporaryDirectory(prefix="recording-", ignore_cleanup_errors=True)
        self._kind = np.dtype(kind)
        self._paths = [Path(self._home.name) / f"{k}.bin" for k in range(width)]
        self._open: list[BinaryIO] = []
        self.written = [0] * width
        _KEPT.append(self)

    def __enter__(self) -> Spool:
        self._open = [p.open("wb") for p in self._paths]
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        for f in self._open:
            f.close()

    def add(self, column: int, samples: NDArray[np.generic]) -> None:
        """Append samples (n,) to a column."""
        block = np.ascontiguousarray(samples, self._kind)
        block.tofile(self._open[column])
        self.written[column] += int(block.shape[0])

    def maps(self) -> list[NDArray[np.generic]]:
        """A read-only map (n,) of each column; call when the spool is closed."""
        return [
            np.memmap(path, self._kind, "r", shape=(n,)) if n else np.zeros(0, self._kind)
            for path, n in zip(self._paths, self.written, strict=True)
        ]


_KEPT: list[Spool] = []  # a temporary folder goes when its object goes: kept until the process ends
