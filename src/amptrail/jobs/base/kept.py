"""What was worked out once is kept for the next question of the same process, within a bound of memory.

A diagnostician enters one reading after another on one sheet: the lanes of every single fault do not change
with them, and `suspects` and `next` ask the same. The least lately used goes first.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

V = TypeVar("V")
MEBIBYTE = 1 << 20


class Kept(Generic[V]):
    """Values by key, their sizes (bytes) adding up to no more than `most`."""

    def __init__(self, most: int, size: Callable[[V], int]) -> None:
        self.most, self.size = most, size
        self.values: OrderedDict[Hashable, tuple[V, int]] = OrderedDict()
        self.total = 0
        self.lock = Lock()

    def get(self, key: Hashable) -> V | None:
        """What is kept under the key, if it still is."""
        with self.lock:
            found = self.values.get(key)
            if found is None:
                return None
            self.values.move_to_end(key)
            return found[0]

    def put(self, key: Hashable, value: V) -> V:
        """Keep it, unless it alone is too large; the value back."""
        size = self.size(value)
        with self.lock:
            if key in self.values or size > self.most:
                return value
            self.values[key] = (value, size)
            self.total += size
            while self.total > self.most:
                _, (_, gone) = self.values.popitem(last=False)
                self.total -= gone
        return value

    def replace(self, key: Hashable, value: V) -> V:
        """Keep it in place of what was there."""
        with self.lock:
            gone = self.values.pop(key, None)
            self.total -= gone[1] if gone else 0
        return self.put(key, value)

    def clear(self) -> None:
        """Forget everything."""
        with self.lock:
            self.values.clear()
            self.total = 0
