"""A sign of life on stderr for anything that takes more than a second."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def told(what: str, after_s: float = 1.0) -> Iterator[None]:
    """Say on stderr (when it is a terminal) that `what` is still being worked on, once a second."""
    if not sys.stderr.isatty():
        yield
        return
    done = threading.Event()

    def speak() -> None:
        seconds = 0
        while not done.wait(after_s):
            seconds += 1
            sys.stderr.write(f"\ramptrail {what}: computing, {seconds} s ")
            sys.stderr.flush()
        if seconds:
            sys.stderr.write("\r" + " " * 60 + "\r")

    thread = threading.Thread(target=speak, daemon=True)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()
