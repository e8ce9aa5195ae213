"""The compiler comes without scipy until something needs it; linear algebra can still be compiled then."""

from __future__ import annotations

import subprocess
import sys

PROGRAM = """
import sys
import numpy as np
from amptrail.sheet import parse
from amptrail.solve import assemble, run
sheet = "battery BAT 12.6 V 10 mohm\\nlamp L1 12 V 5 W\\npath BAT.+ -- L1 -- BAT.-\\n"
volts = run(assemble(parse(sheet)), [()]).volts
assert abs(volts.max() - 12.6) < 0.01, volts
print("scipy.linalg" in sys.modules)
from numba import njit
print(float(njit(lambda a: np.dot(a, a))(np.eye(3)).sum()))
"""


def test_scipy_is_loaded_only_by_what_needs_it() -> None:
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "3.0"]
