"""The compiler loaded without scipy and cffi, which it imports only to see that they are there.

`numba.np.arraymath` asks once whether linear algebra could be compiled, and that imports scipy.linalg: a
quarter of a second of every command (design/0010). Nothing here compiles linear algebra. The question is
answered with yes; a function that does need it still finds scipy then, by the same name. cffi, a tenth of a
second, would let compiled code call C by it: nothing here does.
"""

from __future__ import annotations

import sys
from typing import Any


def load() -> None:
    """Load that part of the compiler now, the questions answered beforehand."""
    there = "cffi" in sys.modules
    if not there:
        sys.modules["cffi"] = None  # type: ignore[assignment]  # as if it were not installed
    try:
        from numba.np import linalg
    finally:
        if not there:
            del sys.modules["cffi"]

    known: Any = linalg
    asks = getattr(known, "ensure_blas", None)
    if asks is None:  # another release that asks otherwise
        return
    known.ensure_blas = lambda: None
    try:
        import numba.np.arraymath  # noqa: F401
    finally:
        known.ensure_blas = asks
