"""The compiler loaded without scipy, which it imports only to see that it is there.

`numba.np.arraymath` asks once whether linear algebra could be compiled, and that imports scipy.linalg: a
quarter of a second of every command (design/0010). Nothing here compiles linear algebra. The question is
answered with yes; a function that does need it still finds scipy then, by the same name.
"""

from __future__ import annotations

from typing import Any


def load() -> None:
    """Load that part of the compiler now, the question answered beforehand."""
    from numba.np import linalg

    known: Any = linalg
    asks = getattr(known, "ensure_blas", None)
    if asks is None:  # another release that asks otherwise
        return
    known.ensure_blas = lambda: None
    try:
        import numba.np.arraymath  # noqa: F401
    finally:
        known.ensure_blas = asks
