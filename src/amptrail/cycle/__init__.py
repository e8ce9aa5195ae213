"""A drive cycle in time: event queue over the solver, timeline of states, volts and amps, how it ended."""

from amptrail.cycle.pace import Pace
from amptrail.cycle.run import corner, run_cycle
from amptrail.cycle.story import Leg, named_starts, starts, story
from amptrail.cycle.timeline import Cause, Instant, Race, Switched, Timeline, races_between

__all__ = [
    "Cause", "Instant", "Leg", "Pace", "Race", "Switched", "Timeline", "corner", "named_starts",
    "races_between", "run_cycle", "starts", "story",
]  # fmt: skip
