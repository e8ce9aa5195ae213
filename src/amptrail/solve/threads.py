"""How many threads a kernel call is worth.

Waking a second thread costs more than a few lanes do, and on a busy machine it waits for a whole time
slice: one reading took 15 ms in place of 1 ms (benchmarks/batch_bench.py).
"""

from __future__ import annotations

import numba

LANES_A_THREAD = 4
MOST = numba.get_num_threads()


def fit(lanes: int) -> None:
    """Set the threads of the next kernel call to what so many lanes are worth."""
    numba.set_num_threads(max(1, min(MOST, lanes // LANES_A_THREAD)))
