"""Recordings: what a scope saw, as channels, events, measures and readings.

Files in (`readers`), float32 channels on disk (`channel`, `spool`), a min-max overview (`overview`), what
happened and
when (`events`), figures between two instants (`measures`). Nothing here knows the solver or the store: a
prediction to
compare with comes in as plain lists (`compare`).
"""

from amptrail.recording.channel import Channel, Recording
from amptrail.recording.events import Event, find_events
from amptrail.recording.measures import Measure, measure
from amptrail.recording.readers import open_recording

__all__ = ["Channel", "Event", "Measure", "Recording", "find_events", "measure", "open_recording"]
