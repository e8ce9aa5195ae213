"""The twin: a plain, slow, independent computation of a circuit, to check the kernel and everything above it.

run(circuit, faults, start, cycles) -> tuple[Reading of a phase, ...] ; read(...) with an instrument
"""

from amptrail.twin.elements import Element, elements
from amptrail.twin.readings import Got, read, read_ohms
from amptrail.twin.settle import Moment, run

__all__ = ["Element", "Got", "Moment", "elements", "read", "read_ohms", "run"]
