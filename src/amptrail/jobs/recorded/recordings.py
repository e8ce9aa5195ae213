"""Use case `recording`: files in, what happened and when out (docs/json.md)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from amptrail.circuit.model import Circuit, key
from amptrail.circuit.phases import drive_cycle
from amptrail.cycle.run import run_cycle
from amptrail.errors import InputError, one
from amptrail.jobs.base.context import load
from amptrail.jobs.expect import ExpectOptions, expect
from amptrail.jobs.recorded.recordingproof import proof
from amptrail.jobs.recorded.recordingtimes import beside_times, clicks, widen_after_run
from amptrail.jobs.solved.feeds import fitted
from amptrail.jobs.solved.session import session
from amptrail.jobs.solved.spots import battery_plus, spot
from amptrail.recording import find_events, measure, open_recording
from amptrail.recording.against import Band, beside, reading_lines
from amptrail.recording.channel import Recording
from amptrail.recording.clips import cautions, clipped, unscaled
from amptrail.recording.compare import compared
from amptrail.recording.events import Event
from amptrail.recording.measures import cranks
from amptrail.recording.phases import features
from amptrail.recording.picture import Seen, picture
from amptrail.recording.readers import Asked
from amptrail.recording.relays import delays
from amptrail.recording.rows import COLUMNS, rows
from amptrail.recording.shelf import seen_of
from amptrail.recording.svg import COLUMNS as FINE
from amptrail.recording.svg import svg

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
    sheet: str | None = None
    feed: str | None = None
    svg: bool = False


def opened(path: Path, asked: RecordingOptions, name: str | None = None) -> Recording:
    """The recording of a file, its channels named as asked; `name`: what the file is called elsewhere."""
    got = clipped(open_recording(path, Asked(asked.interval_s, asked.time)), asked.channels)
    return replace(got, source=name) if name else got


def looked(r: Recording) -> Seen:
    """A recording with what happened in it."""
    return seen_of(r, find_events(r.channels))


def recording(paths: Sequence[Path], asked: RecordingOptions) -> Json:
    """The answer object of `recording`."""
    if asked.begin_s is not None and asked.end_s is not None and asked.begin_s >= asked.end_s:
        raise one("span", f"the stretch from {asked.begin_s:g} s to {asked.end_s:g} s is empty",
                  remedy="give --from before --to")  # fmt: skip
    got = _told_apart([opened(p, asked) for p in paths])
    many = len(got) > 1
    channels: list[Json] = []
    events: list[Json] = []
    measures: Json = {}
    notes: list[str] = []
    warned: list[str] = []
    relays: list[Json] = []
    laid: list[Json] = []
    seen: list[Seen] = []
    for r in got:
        found = find_events(r.channels)
        seen.append(seen_of(r, found))
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
        relays += [{**asdict(d), "file": r.source} for d in delays(r.channels, found)]
        notes += [prefix + n for n in (*r.notes, *unscaled(r.channels))]
        if asked.sheet is not None:
            laid.append(beside_sheet(seen[-1], asked.sheet, asked.feed))
        warned += [w for w in cautions(r.channels) if w not in warned]
    events.sort(key=lambda e: e["t_s"])
    sheet = load(asked.sheet) if asked.sheet is not None else None
    known = {k: [x for one in laid for x in one[k]] for k in ("against", "verification", "readings")}
    span = asked.begin_s, asked.end_s
    return {
        "amptrail": 1, "command": "recording", "laws": sheet.circuit.laws if sheet else None,
        "sheet_sha256": sheet.sha256 if sheet else None, "exit": 0,
        "problems": [_note(n) for n in notes],
        "files": [{"name": r.source, "format": r.format} for r in got],
        "channels": channels, "events": events, "measures": measures, "relays": relays,
        "cautions": warned, **known,
        "phases": [{**asdict(p), "file": s.recording.source} for s in seen for p in s.spans],
        "text": rows(picture(seen, COLUMNS, *span)),
        "comparison": [asdict(d) for d in compared(*seen)] if len(seen) == 2 else [],
        "svg": svg(picture(seen, FINE, *span)) if asked.svg else None,
    }  # fmt: skip


def _told_apart(got: Sequence[Recording]) -> list[Recording]:
    """Files of one name in two folders get a number: their channels must not share a name."""
    names = Counter(r.source for r in got)
    return [
        replace(r, source=f"{r.source} ({k})") if names[r.source] > 1 else r for k, r in enumerate(got, 1)
    ]


def _points(circuit: Circuit, r: Recording) -> dict[str, str]:
    """Channel -> the sheet's point it was clipped to: as said, or when its own name is a point of the
    sheet."""
    out: dict[str, str] = {}
    for c in r.channels:
        said = c.point or c.name.split(" to ")[0].strip()
        try:
            found = spot(circuit, said)
        except InputError:
            if c.point is not None:
                raise  # said to be at a point that the sheet does not have
            continue  # a channel of the scope's own name: nobody said where it was
        if (found.what == "amps") == (c.unit == "A"):
            out[c.name] = said
    return out


def beside_sheet(seen: Seen, sheet_text: str, feed: str | None) -> Json:
    """The drive the sheet predicts laid under the recording: bands beside levels, wanted figures ticked,
    readings lines."""
    circuit = load(sheet_text).circuit
    r = seen.recording
    points = _points(circuit, r)
    found = features(r.channels, seen.spans)
    units = {c.name: c.unit for c in r.channels}
    names: dict[str, str] = {p.base: p.name for p in reversed(drive_cycle(circuit))}
    bands: dict[tuple[str, str], list[Band]] = {}
    if points:
        volts = tuple(p for c, p in points.items() if units[c] != "A")
        amps = tuple(p for c, p in points.items() if units[c] == "A")
        for at, instrument in ((volts, "meter"), (amps, "clamp")):
            if at:
                got = expect(sheet_text, ExpectOptions(at=at, instruments=(instrument,), feed=feed, cycles=2))
                bands |= _bands(got, {p.name: p.base for p in drive_cycle(circuit)})
    there = fitted(circuit, feed)
    lived = run_cycle(session(there).network, (), "asleep", 1, "time")
    widen_after_run(there, points, bands, lived)
    supply = next((c for c, p in points.items() if key(p) == key(str(battery_plus(circuit)))), None)
    return {
        "against": [
            asdict(b)
            for b in (*beside(found, points, bands, units), *beside_times(there, seen, points, lived))
        ],
        "verification": [asdict(t) for t in proof(there, seen, points, found, lived)],
        "readings": [*reading_lines(found, points, names, units, supply), *clicks(seen, names)],
    }


def _bands(got: Json, base: dict[str, str]) -> dict[tuple[str, str], list[Band]]:
    out: dict[tuple[str, str], list[Band]] = {}
    for p in got["runs"][0]["phases"]:
        for x in p["readings"]:
            if x["low"] is not None:
                at = out.setdefault((x["point"], base[p["phase"]]), [])
                at.append(Band(p["phase"], x["low"], x["high"]))
    return out


def _event(e: Event, prefix: str) -> Json:
    return {**asdict(e), "channel": prefix + e.channel}


def _note(text: str) -> Json:
    return {"line": 0, "column": 0, "severity": "note", "code": "reading-the-file", "message": text,
            "expected": [], "nearest": None, "remedy": ""}  # fmt: skip
