"""A whole job as one file, out and in, every byte of it checked.

As JSON text: the entries alone. As a job file: a zip of `job.json` (the same text, with the hash of its
entries) and of `files/SHA256` for each attachment. Nothing is ever unpacked to the disk, and nothing in it is
believed before it was counted and hashed.
"""

from __future__ import annotations

import hashlib
import json
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import IO, Any, BinaryIO

from amptrail.store.entries import Entry, StoreError, refuse
from amptrail.store.files import LONGEST_FILE, PIECE, Attached, media_of
from amptrail.store.log import Log

FORMAT = "amptrail-job"
VERSION = 2
KNOWN = (1, 2)
MANIFEST = "job.json"
MEMBER = re.compile(r"files/([0-9a-f]{64})")
LONGEST_MANIFEST = 200_000_000  # bytes
MOST_FILES = 10_000
MOST_TOGETHER = 4_000_000_000  # bytes of all attachments
BEGIN = b"PK\x03\x04"


def _known(log: Log, job: str) -> list[Entry]:
    found = log.entries(job)
    if not found:
        raise refuse("no-such-job", f"no job is called {job}", "list the jobs first")
    return found


def _rows(entries: Sequence[Entry]) -> list[dict[str, Any]]:
    return [{"id": e.id, "kind": e.kind, "at": e.at, "by": e.by, "data": dict(e.data)} for e in entries]


def _digest(rows: Any) -> str:
    return hashlib.sha256(json.dumps(rows, sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def attachments(entries: Sequence[Entry]) -> tuple[str, ...]:
    """The hashes of every file that was ever attached, taken back or not."""
    return tuple(dict.fromkeys(str(e.data["sha256"]) for e in entries if e.kind == "file"))


def export_job(log: Log, job: str) -> str:
    """The job's log as JSON text; StoreError when there is no such job. Attachments are not in it."""
    return _text(job, _known(log, job))


def _text(job: str, entries: Sequence[Entry]) -> str:
    rows = _rows(entries)
    whole = {FORMAT: VERSION, "job": job, "entries_sha256": _digest(rows), "entries": rows}
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"


def export_file(log: Log, job: str, to: IO[bytes]) -> None:
    """Write the job with its attachments as a job file."""
    entries = _known(log, job)
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as z:
        z.writestr(zipfile.ZipInfo(MANIFEST), _text(job, entries), zipfile.ZIP_DEFLATED)
        for sha256 in attachments(entries):
            with z.open(zipfile.ZipInfo(f"files/{sha256}"), "w", force_zip64=True) as member:
                for piece in log.file(sha256):
                    member.write(piece)


def _bad(why: str, remedy: str = "export it again", code: str = "not-a-job") -> StoreError:
    return refuse(code, f"this is no exported job: {why}", remedy)


def read_job(text: str, name: str | None = None) -> list[Entry]:
    """The entries of an exported job, under its own name or under `name`; StoreError for what is damaged."""
    try:
        got = json.loads(text)
        if not isinstance(got, dict) or FORMAT not in got:
            raise ValueError(f'it does not begin with {{"{FORMAT}": {VERSION}')
        version = got[FORMAT]
        if version not in KNOWN or isinstance(version, bool):
            newer = isinstance(version, int) and version > VERSION
            raise _bad(f"its version is {version!r}, this program knows {KNOWN[0]} to {KNOWN[-1]}",
                       "update the program" if newer else "export it again", "unknown-version")  # fmt: skip
        job = name or got["job"]
        rows = got["entries"]
        if version > 1 and got["entries_sha256"] != _digest(rows):
            raise _bad("its entries were changed or damaged on the way", code="wrong-hash")
        found = [Entry(job, r["id"], r["kind"], r["at"], r["data"], str(r.get("by") or "")) for r in rows]
    except StoreError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as e:
        raise _bad(str(e) or type(e).__name__) from e
    if not found:
        raise _bad("it is empty")
    return found


def import_job(log: Log, text: str, name: str | None = None) -> tuple[str, int]:
    """Add an exported job, all of it or nothing; returns its name and how many entries were new."""
    entries = read_job(text, name)
    return entries[0].job, len(log.add_all(entries, checked=True))


@contextmanager
def _zip(file: Path | BinaryIO) -> Iterator[zipfile.ZipFile]:
    try:
        with zipfile.ZipFile(file) as z:
            yield z
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        OSError,
        RuntimeError,
        ValueError,
    ) as e:
        if isinstance(e, StoreError):
            raise
        raise _bad(f"it is damaged ({e})", "fetch or export it again", "damaged") from e


def _members(z: zipfile.ZipFile) -> dict[str, zipfile.ZipInfo]:
    """What is inside, by name, each only once and of a name that may be there."""
    found: dict[str, zipfile.ZipInfo] = {}
    if len(z.infolist()) > MOST_FILES + 1:
        raise _bad(f"{len(z.infolist())} files are in it", "split the job", "too-large")
    for info in z.infolist():
        if info.filename != MANIFEST and not MEMBER.fullmatch(info.filename):
            raise _bad(f"no file in it may be called {info.filename[:80]!r}", code="bad-name")
        if info.filename in found:
            raise _bad(f"{info.filename[:80]} is in it twice", code="bad-name")
        if info.flag_bits & 1:
            raise _bad(f"{info.filename[:80]} is locked with a password")
        most = LONGEST_MANIFEST if info.filename == MANIFEST else LONGEST_FILE
        if info.file_size > most:
            raise _bad(
                f"{info.filename[:20]} would have {info.file_size} bytes",
                "is this the right file?",
                "too-large",
            )
        found[info.filename] = info
    if MANIFEST not in found:
        raise _bad(f"there is no {MANIFEST} in it")
    if sum(i.file_size for i in found.values()) > MOST_TOGETHER:
        raise _bad("its attachments are too large together", "attach the parts that matter", "too-large")
    return found


def _read(z: zipfile.ZipFile, info: zipfile.ZipInfo, most: int) -> Iterator[bytes]:
    """The content of a member; never more of it than it says, whatever it unpacks to."""
    left = min(info.file_size, most)
    with z.open(info) as f:
        while piece := f.read(min(PIECE, left + 1)):
            left -= len(piece)
            if left < 0:
                raise _bad(f"{info.filename[:20]} unpacks to more than it says", code="too-large")
            yield piece


def _attached(z: zipfile.ZipFile, info: zipfile.ZipInfo) -> Attached:
    """An attachment of a job file, hashed before anything is written."""
    digest, size, begin = hashlib.sha256(), 0, b""
    for piece in _read(z, info, LONGEST_FILE):
        begin = begin or piece[:512]
        size += len(piece)
        digest.update(piece)
    sha256 = info.filename.removeprefix("files/")
    if digest.hexdigest() != sha256:
        raise _bad(f"the attachment {sha256[:12]}… is not what it says", code="wrong-hash")
    return Attached(sha256, size, media_of(begin), partial(z.open, info))  # type: ignore[arg-type]


def import_file(log: Log, file: Path | BinaryIO, name: str | None = None) -> tuple[str, int]:
    """Add a job file, all of it or nothing; returns its name and how many entries were new. StoreError says
    what is wrong with a damaged or hostile one."""
    with _zip(file) as z:
        members = _members(z)
        text = b"".join(_read(z, members.pop(MANIFEST), LONGEST_MANIFEST))
        try:
            entries = read_job(text.decode("utf-8"), name)
        except UnicodeDecodeError as e:
            raise _bad("its text is not UTF-8", code="damaged") from e
        wanted = {f"files/{h}" for h in attachments(entries)}
        if extra := set(members) - wanted:
            raise _bad(f"{min(extra)[:20]}… belongs to no entry", code="bad-name")
        if missing := wanted - set(members):
            raise _bad(f"the attachment {min(missing)[6:18]}… is missing", code="missing-file")
        sent = [_attached(z, info) for info in members.values()]
        return entries[0].job, len(log.add_all(entries, sent, checked=True))


def is_file(begin: bytes) -> bool:
    """Whether the first bytes are those of a job file."""
    return begin.startswith(BEGIN)
