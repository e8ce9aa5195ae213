"""A drive cycle in time: event queue over the solver, timeline of states, volts and amps, how it ended."""

from amptrail.cycle.run import corner, run_cycle
from amptrail.cycle.story import Leg, named_starts, starts, story
from amptrail.cycle.timeline import Cause, Instant, Switched, Timeline

__all__ = [
    "Cause", "Instant", "Leg", "Switched", "Timeline", "corner", "named_starts", "run_cycle", "starts",
    "story",
]  # fmt: skip
