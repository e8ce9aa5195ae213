"""The solver: assemble a circuit, run drive cycles on many lanes, read instruments, take sensitivities."""

from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Change, Kind
from amptrail.solve.network import Network, Parameter
from amptrail.solve.readings import Instrument, Readings, Tap, read
from amptrail.solve.runs import Runs, State, conservation, run
from amptrail.solve.settle import CHATTER, NOT_CONVERGED, RACE, SETTLED
from amptrail.solve.slopes import sensitivities

__all__ = [
    "CHATTER", "NOT_CONVERGED", "RACE", "SETTLED", "Change", "Instrument", "Kind", "Network", "Parameter", "Readings",
    "Runs", "State", "Tap", "assemble", "conservation", "read", "run", "sensitivities",
]  # fmt: skip
