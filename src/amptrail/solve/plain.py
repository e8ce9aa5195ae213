"""Small things the compiled code is written with, for the sake of how long it takes to compile."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

# A constant handed to a compiled function goes as whole(0), truth(True): bare, it would compile that function
# once more for the one value.
whole: Any = np.int64
truth: Any = np.bool_


@njit(cache=True, nogil=True)
def put(into: Any, values: Any) -> None:
    """into[:] = values, one-dimensional and of the same length: a loop compiles in a fraction of the time."""
    for k in range(values.size):
        into[k] = values[k]
