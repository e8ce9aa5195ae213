"""A recording kept in a folder: float32 samples and overviews to map, and what was found, so that it opens at
once and is never parsed or searched twice."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from amptrail.errors import one
from amptrail.recording.channel import Channel, Recording
from amptrail.recording.events import Event
from amptrail.recording.overview import BLOCK, Overview
from amptrail.recording.phases import spans
from amptrail.recording.picture import Seen

STORY = "recording.json"
CHUNK = 1 << 22  # samples copied at a time
FIELDS = ("name", "unit", "dt_s", "t0_s", "point", "to", "factor", "offset")


def seen_of(r: Recording, events: Sequence[Event]) -> Seen:
    """A recording with its events and the phases they cut it into."""
    begin = min((c.t0_s for c in r.channels), default=0.0)
    end = max((c.end_s for c in r.channels), default=0.0)
    return Seen(r, tuple(events), spans(events, begin, end))


def keep_samples(r: Recording, folder: Path) -> None:
    """Write the samples and the overview of every channel, chunk by chunk. Each file replaces an older one at
    once: who has that one mapped goes on reading it."""
    folder.mkdir(parents=True, exist_ok=True)
    for k, c in enumerate(r.channels):
        fresh = folder / f"{k}.new"
        with fresh.open("wb") as f:
            for first in range(0, c.samples, CHUNK):
                np.asarray(c.data[first : first + CHUNK], "<f4").tofile(f)
        fresh.replace(folder / f"{k}.f32")
        seen = c.plain
        with fresh.open("wb") as f:
            np.save(f, np.stack((seen.low, seen.high, seen.mean)))
        fresh.replace(folder / f"{k}.npy")


def keep_story(r: Recording, events: Sequence[Event], folder: Path) -> None:
    """Write what the channels are and what happened; written last, so that a folder without it is no
    recording."""
    story = {
        "source": r.source, "format": r.format, "notes": list(r.notes), "start": r.start,
        "channels": [{"samples": c.samples, **{n: getattr(c, n) for n in FIELDS}} for c in r.channels],
        "events": [asdict(e) for e in events],
    }  # fmt: skip
    fresh = folder / f"{STORY}.new"
    fresh.write_text(json.dumps(story, ensure_ascii=False, allow_nan=False), encoding="utf-8")
    fresh.replace(folder / STORY)


def is_kept(folder: Path) -> bool:
    """Whether a recording is in the folder, whole."""
    return (folder / STORY).is_file()


def kept(folder: Path) -> Seen:
    """The recording of a folder, mapped; InputError when it is not there or not whole."""
    try:
        story: dict[str, Any] = json.loads((folder / STORY).read_text(encoding="utf-8"))
        made = tuple(_channel(folder, k, c) for k, c in enumerate(story["channels"]))
        events = [Event(**e) for e in story["events"]]
    except (OSError, ValueError, KeyError, TypeError) as e:
        raise one(
            "no-such-recording", "this recording is not here, or not whole", remedy="bring its file once more"
        ) from e
    r = Recording(story["source"], story["format"], made, tuple(story["notes"]), story["start"])
    return seen_of(r, events)


def _channel(folder: Path, k: int, said: dict[str, Any]) -> Channel:
    n = int(said["samples"])
    data = np.memmap(folder / f"{k}.f32", "<f4", "r", shape=(n,)) if n else np.zeros(0, np.float32)
    c = Channel(data=data, **{f: said[f] for f in FIELDS})
    low, high, mean = np.load(folder / f"{k}.npy")
    # the overview is known already: what `Channel.plain` would work out from all the samples
    c.__dict__["plain"] = Overview(BLOCK, n, low, high, mean)
    return c
