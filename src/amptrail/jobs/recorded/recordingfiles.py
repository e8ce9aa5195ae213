"""Recordings of a job: their files beside the log, brought in pieces, read once; what they show goes into the
log and so into the findings.

A folder a recording: the file as it came (`original…`, evidence), float32 to map, what was found. The log
keeps words and picture, so that the papers need no file.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from amptrail.errors import one
from amptrail.jobs.base.context import Json, load
from amptrail.jobs.base.joblog import Case, case, known, now, opened, whose
from amptrail.jobs.feeding.fitting import as_left, in_place
from amptrail.jobs.recorded.recordings import RecordingOptions, beside_sheet, looked
from amptrail.jobs.recorded.recordings import opened as parsed_from
from amptrail.recording.clips import cautions, clipped, unscaled
from amptrail.recording.phases import Span
from amptrail.recording.picture import Seen, picture
from amptrail.recording.readers import ENDINGS
from amptrail.recording.relays import delays
from amptrail.recording.shelf import STORY, is_kept, keep_samples, keep_story, kept
from amptrail.recording.svg import COLUMNS, svg
from amptrail.recording.words import told
from amptrail.store import Entry

MOST_BYTES = 2_000_000_000  # 100 M samples of float32 are 400 MB
PART_BYTES = 4 << 20  # one piece of a file
ROOM = 2.5  # times its size must be free on the disk: the file, its samples, its overviews
KEY = re.compile(r"[A-Za-z0-9_-]{1,60}")
LINES = 24  # events told in the findings; the picture shows them all
SAID = "said.json"
TOLD = "told.json"


@dataclass(frozen=True, slots=True)
class Kept:
    """A recording of a job: `name` of its file, bytes that are here of `size`, whether it was read."""

    key: str
    name: str
    size: int
    here: int
    ready: bool


def home() -> Path:
    """Where the files are: beside the log."""
    from amptrail.store.where import default_path

    return default_path().parent / "recordings"


def folder(job: str, key: str) -> Path:
    """The folder of a recording. Names of jobs are never paths."""
    if not KEY.fullmatch(key):
        raise one("no-such-recording", f"{key[:60]!r} is no recording", remedy="choose one from the list")
    return home() / hashlib.sha256(job.encode()).hexdigest()[:16] / key


def fresh_key() -> str:
    """A key nobody has yet."""
    return uuid.uuid4().hex[:12]


def stamp(job: str, key: str) -> int:
    """Changes whenever a recording is read anew; 0 when it was not read."""
    try:
        return (folder(job, key) / STORY).stat().st_mtime_ns
    except OSError:
        return 0


def _original(where: Path) -> Path | None:
    return next(iter(sorted(where.glob("original*"))), None)


def receive(job: str, key: str, name: str, offset: int, size: int, block: bytes) -> int:
    """Append a piece of a file at `offset`; the bytes that are here now.

    A piece that does not begin where the file ends is not written: whoever sends goes on from the answer.
    InputError `too-large`, `disk-full`, `no-such-job`.
    """
    where = folder(job, key)
    if size > MOST_BYTES or offset + len(block) > size:
        raise one(
            "too-large", f"{name[:60]} has {size / 1e9:.2f} GB; {MOST_BYTES / 1e9:.0f} GB at most are taken",
            remedy="is this the right file? if so, cut it to the part that matters",
        )  # fmt: skip
    if not where.exists():
        case(job)  # no files for a job that is not there
        where.mkdir(parents=True)
        if shutil.disk_usage(where).free < ROOM * size:
            where.rmdir()
            raise one(
                "disk-full", f"no room for {size / 1e6:.0f} MB", remedy="free some disk, then send again"
            )
        said = {"name": Path(name.replace("\\", "/")).name[:200] or "recording", "size": size}
        (where / SAID).write_text(json.dumps(said), encoding="utf-8")
    suffix = Path(name).suffix.casefold()
    file = _original(where) or where / f"original{suffix if suffix in ENDINGS else ''}"
    here = file.stat().st_size if file.exists() else 0
    if offset != here:
        return here
    with file.open("ab") as f:
        f.write(block)
    return here + len(block)


def listed(job: str) -> tuple[Kept, ...]:
    """The recordings of a job, oldest first."""
    where = folder(job, "x").parent
    found = [p for p in where.iterdir() if p.is_dir() and (p / SAID).is_file()] if where.exists() else []
    return tuple(status(job, p.name) for p in sorted(found, key=lambda p: (p / SAID).stat().st_mtime_ns))


def status(job: str, key: str) -> Kept:
    """How far a recording is; InputError when there is none."""
    where = folder(job, key)
    try:
        said = json.loads((where / SAID).read_text(encoding="utf-8"))
    except (OSError, ValueError) as e:
        raise one(
            "no-such-recording", f"job {job} has no recording {key}", remedy="choose one from the list"
        ) from e
    file = _original(where)
    here = file.stat().st_size if file else 0
    return Kept(key, str(said["name"]), int(said["size"]), here, is_kept(where))


def discard(job: str, key: str) -> None:
    """Remove a file that is not wanted, or came broken; what the log says of it stays."""
    status(job, key)
    shutil.rmtree(folder(job, key))


def sheet_now(found: Case) -> str | None:
    """The job's sheet with every feed that is in the vehicle; None without a sheet."""
    if found.state.sheet is None:
        return None
    from amptrail.jobs.solved.feeds import fitted
    from amptrail.sheet import print_sheet

    circuit = load(as_left(found)).circuit
    for name in in_place(found):
        circuit = fitted(circuit, name)
    return print_sheet(circuit)


def read(job: str, key: str, asked: RecordingOptions) -> Json:
    """Read the file (again, when its clips were said anew), find what happened, hold it against the sheet,
    keep all of it beside the file."""
    at = status(job, key)
    where = folder(job, key)
    file = _original(where)
    if file is None or at.here != at.size:
        raise one(
            "not-all-here", f"{at.here} of {at.size} bytes of {at.name} are here", remedy="send it once more"
        )
    known = told_of(job, key)
    if at.ready and [known.get("interval_s"), known.get("time")] == [asked.interval_s, asked.time]:
        # the samples are kept as they stood in the file: only what the clips mean is new
        old = kept(where).recording
        units = known["units"]
        bare = [c.told(unit=u, point=None, to=None, factor=1.0, offset=0.0)
                for c, u in zip(old.channels, units, strict=True)]  # fmt: skip
        r = clipped(replace(old, channels=tuple(bare)), asked.channels)
    else:
        parsed = parsed_from(file, replace(asked, channels=()), at.name)
        units = [c.unit for c in parsed.channels]
        keep_samples(parsed, where)
        r = clipped(parsed, asked.channels)
    seen = looked(r)
    keep_story(r, seen.events, where)
    laid = beside_sheet(seen, asked.sheet, asked.feed) if asked.sheet is not None else {}
    got: Json = {
        "said": list(asked.channels), "interval_s": asked.interval_s, "time": asked.time, **laid,
        "units": units, "cautions": list(cautions(r.channels)), "notes": [*r.notes, *unscaled(r.channels)],
    }  # fmt: skip
    (where / TOLD).write_text(json.dumps(got, ensure_ascii=False), encoding="utf-8")
    return got


def bring(job: str, paths: Sequence[Path], asked: RecordingOptions) -> tuple[str, ...]:
    """Files of this machine kept with a job, as the pages do it, one laid over the other in the findings; the
    same file again is the same recording. InputError as for any recording."""
    sheet = asked.sheet or sheet_now(case(job))
    keys = []
    for path in paths:
        size = path.stat().st_size if path.is_file() else 0
        parsed_from(path, asked)  # what cannot be read is said before anything is kept
        with path.open("rb") as f:
            key = hashlib.file_digest(f, "sha256").hexdigest()[:12]
            f.seek(0)
            here = receive(job, key, path.name, 0, size, f.read(PART_BYTES))
            while here < size:
                f.seek(here)
                here = receive(job, key, path.name, here, size, f.read(PART_BYTES))
        read(job, key, replace(asked, sheet=sheet))
        keys.append(key)
    attach(job, keys[:2], asked.begin_s, asked.end_s)
    return tuple(keys)


def told_of(job: str, key: str) -> Json:
    """What `read` found out, as it was kept."""
    try:
        return dict(json.loads((folder(job, key) / TOLD).read_text(encoding="utf-8")))
    except (OSError, ValueError):
        return {}


def shown(job: str, keys: Sequence[str]) -> tuple[Seen, ...]:
    """Recordings that were read, mapped."""
    return tuple(kept(folder(job, k)) for k in keys)


def drawn(seen: Sequence[Seen], begin_s: float | None, end_s: float | None, listed: bool = True) -> str:
    """Their picture (SVG) between two instants of the picture's time."""
    return svg(picture(seen, COLUMNS, begin_s, end_s), listed)


def lines(seen: Seen, begin_s: float | None, end_s: float | None) -> tuple[str, ...]:
    """What happened between two instants, in words."""
    units = {c.name: c.unit for c in seen.recording.channels}
    names = {c.name: c.point or c.name for c in seen.recording.channels}
    low, high = begin_s if begin_s is not None else -1e300, end_s if end_s is not None else 1e300
    # a step of a clamp that has a name of its own is told by that
    named = {(e.channel, e.t_s) for e in seen.events if e.kind != "step"}
    inside = [e for e in seen.events
              if low <= e.t_s <= high and (e.kind != "step" or (e.channel, e.t_s) not in named)]  # fmt: skip
    out = [f"{e.t_s:.4f} s  {names[e.channel]} {told(e, units[e.channel])}" for e in inside[:LINES]]
    out += [f"and {len(inside) - LINES} more events"] if len(inside) > LINES else []
    for d in delays(seen.recording.channels, seen.events):
        if low <= d.t_s <= high:
            did = "pulled in" if d.kind == "pull_in" else "let go"
            out.append(f"{d.part} {did} {d.delay_ms:.1f} ms after its winding")
    return tuple(out)


def caption(seen: Sequence[Seen], begin_s: float | None, end_s: float | None) -> str:
    """What a picture is of: files, phases, stretch."""
    files = " and ".join(s.recording.source for s in seen)
    spans: tuple[Span, ...] = seen[0].spans
    phases = ", ".join(dict.fromkeys(s.phase for s in spans))
    part = f", {begin_s:g} s to {end_s:g} s" if begin_s is not None and end_s is not None else ""
    return f"Recording {files}{part}{': ' + phases if phases else ''}"


def attach(
    job: str, keys: Sequence[str], begin_s: float | None = None, end_s: float | None = None,
    entry_id: str | None = None,
) -> bool:  # fmt: skip
    """Put a recording (and one laid over it) into the job's log, so that it is in the findings: picture of
    the stretch, events in it, what the sheet wanted shown. The later picture of a recording stands."""
    from amptrail.recording.compare import compared

    seen = shown(job, keys)
    known = told_of(job, keys[0])
    words = [*lines(seen[0], begin_s, end_s)]
    if len(seen) > 1:
        words = [c.words for c in compared(seen[0], seen[1])]
    data: dict[str, Any] = {
        "recording": keys[0], "over": list(keys[1:]), "file": seen[0].recording.source,
        "caption": caption(seen, begin_s, end_s), "lines": words, "begin_s": begin_s, "end_s": end_s,
        "verification": known.get("verification", []),
        "parts_company": [a["words"] for a in known.get("against", []) if not a["agrees"]],
        "svg": drawn(seen, begin_s, end_s, listed=False),
    }  # fmt: skip
    return _add(job, data, entry_id)


def _add(job: str, data: dict[str, Any], entry_id: str | None = None) -> bool:
    """An entry of the log; whether it was new."""
    with opened() as log:
        known(log, job)
        made = entry_id or uuid.uuid4().hex[:12]
        return log.add(Entry(job, made, "recording", now().isoformat(), data, whose()))


def leave_out(job: str, key: str) -> bool:
    """Take a recording out of the findings; its file stays."""
    return _add(job, {"recording": key, "left_out": True})
