"""Use case `recording`: files in, what happened and when out (docs/json.md)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from amptrail.recording import find_events, measure, open_recording
from amptrail.recording.channel import Recording
from amptrail.recording.clips import cautions, clipped
from amptrail.recording.events import Event
from amptrail.recording.measures import cranks
from amptrail.recording.readers import Asked

Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class RecordingOptions:
    """`channels` as `clips` reads them; `interval_s` and `time` for tables that do not tell;
    `begin_s`..`end_s` to measure."""

    channels: tuple[str, ...] = ()
    interval_s: float | None = None
    time: str | None = None
    begin_s: float | None = None
    end_s: float | None = None


def opened(path: Path, asked: RecordingOptions) -> Recording:
    """The recording of a file, with its channels named as asked."""
    return clipped(open_recording(path, Asked(asked.interval_s, asked.time)), asked.channels)


def recording(paths: Sequence[Path], asked: RecordingOptions) -> Json:
    """The answer object of `recording`."""
    got = [opened(p, asked) for p in paths]
    many = len(got) > 1
    channels: list[Json] = []
    events: list[Json] = []
    measures: Json = {}
    notes: list[str] = []
    warned: list[str] = []
    for r in got:
        found = find_events(r.channels)
        prefix = f"{r.source}: " if many else ""
        for c in r.channels:
            channels.append(
                {"name": prefix + c.name, "unit": c.unit, "samples": c.samples, "dt_s": c.dt_s,
                 "t0_s": c.t0_s, "point": c.point, "to": c.to}
            )  # fmt: skip
            m = asdict(measure(c, asked.begin_s, asked.end_s))
            m.pop("channel")
            m["cranks"] = [asdict(k) for k in cranks(c, found)]
            measures[prefix + c.name] = m
        events += [_event(e, prefix) for e in found]
        notes += [prefix + n for n in r.notes]
        warned += [w for w in cautions(r.channels) if w not in warned]
    events.sort(key=lambda e: e["t_s"])
    return {
        "amptrail": 1, "command": "recording", "laws": None, "sheet_sha256": None, "exit": 0,
        "problems": [_note(n) for n in notes],
        "files": [{"name": r.source, "format": r.format} for r in got],
        "channels": channels, "events": events, "measures": measures, "cautions": warned,
    }  # fmt: skip


def _event(e: Event, prefix: str) -> Json:
    return {**asdict(e), "channel": prefix + e.channel}


def _note(text: str) -> Json:
    return {"line": 0, "column": 0, "severity": "note", "code": "reading-the-file", "message": text,
            "expected": [], "nearest": None, "remedy": ""}  # fmt: skip
