"""The solver: assemble a circuit, run drive cycles on many lanes, read instruments, take sensitivities."""

from pathlib import Path

from amptrail.solve.lean import load
from amptrail.solve.stale import drop_stale

load()
drop_stale(Path(__file__).parent)

from amptrail.solve.assemble import assemble  # noqa: E402
from amptrail.solve.changes import Change, Kind  # noqa: E402
from amptrail.solve.network import Network, Parameter  # noqa: E402
from amptrail.solve.readings import Instrument, Readings, Tap, read  # noqa: E402
from amptrail.solve.runs import Runs, State, conservation, run  # noqa: E402
from amptrail.solve.settle import CHATTER, NOT_CONVERGED, RACE, SETTLED  # noqa: E402
from amptrail.solve.slopes import sensitivities  # noqa: E402

__all__ = [
    "CHATTER", "NOT_CONVERGED", "RACE", "SETTLED", "Change", "Instrument", "Kind", "Network", "Parameter",
    "Readings", "Runs", "State", "Tap", "assemble", "conservation", "read", "run", "sensitivities",
]  # fmt: skip
