"""Large arrays whose memory is taken again when nobody looks at it any more.

The system clears every page it gives: at 2,000 parts the results of a lane and its changes are half a
megabyte, and clearing them took a tenth of all time. What is given here is not cleared.
"""

from __future__ import annotations

import ctypes
import weakref
from math import prod
from threading import Lock
from typing import Any

import numpy as np
import numpy.typing as npt

LEAST = 1 << 20  # bytes: smaller arrays are not worth it
MOST = 192 << 20  # bytes kept while nobody uses them
_LOCK = Lock()
_FREE: list[npt.NDArray[np.uint8]] = []


def uncleared(shape: tuple[int, ...], dtype: Any = np.float64) -> npt.NDArray[Any]:
    """An array of any contents. Its memory is taken again once neither it nor a view of it is left."""
    size = prod(shape) * np.dtype(dtype).itemsize
    if size < LEAST:
        return np.empty(shape, dtype)
    block = _taken(size)
    owner = (ctypes.c_char * size).from_buffer(block)  # every view refers to it, not to the block
    weakref.finalize(owner, _given_back, block).atexit = False
    return np.frombuffer(owner, dtype).reshape(shape)


def _taken(size: int) -> npt.NDArray[np.uint8]:
    with _LOCK:
        fits = [n for n, b in enumerate(_FREE) if size <= b.size <= 2 * size]
        if fits:
            return _FREE.pop(min(fits, key=lambda n: _FREE[n].size))
    return np.empty(size, np.uint8)


def _given_back(block: npt.NDArray[np.uint8]) -> None:
    with _LOCK:
        _FREE.append(block)
        while sum(b.size for b in _FREE) > MOST:
            _FREE.pop(0)
