"""Lanes shared out among threads.

The compiled code lets go of the interpreter, so plain threads do, and nothing is compiled twice for their
sake. Waking a second thread costs more than a few lanes do: one reading took 15 ms in place of 1 ms
(benchmarks/batch_bench.py).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache

LANES_A_THREAD = 4
PIECES_A_THREAD = 6  # lanes differ in work: small pieces end together


def cores() -> int:
    """Processors this process may use; AMPTRAIL_THREADS, when it is a number, says fewer."""
    asked = os.environ.get("AMPTRAIL_THREADS", "")
    able = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return max(1, min(able, int(asked))) if asked.isdigit() else able


@cache
def _pool(workers: int) -> ThreadPoolExecutor:
    return ThreadPoolExecutor(workers, thread_name_prefix="lanes")


def share(lanes: int, work: Callable[[int, int], None], pieces: int = PIECES_A_THREAD) -> None:
    """work(first, last) over all lanes, on as many threads as they are worth."""
    workers = max(1, min(cores(), lanes // LANES_A_THREAD))
    if workers == 1:
        work(0, lanes)
        return
    step = max(LANES_A_THREAD, -(-lanes // (workers * pieces)))
    parts = [(k, min(k + step, lanes)) for k in range(0, lanes, step)]
    waiting = [_pool(cores()).submit(work, a, b) for a, b in parts]
    for w in waiting:
        w.result()
