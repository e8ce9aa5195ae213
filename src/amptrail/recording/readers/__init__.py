"""One small interface for every kind of file: a path in, a Recording out. The kind is told by the first
bytes, then by
the ending; a file whose ending lies is read for what it is, with a note."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from amptrail.errors import one
from amptrail.recording.channel import Recording

HEAD = 4096
KINDS = ("csv", "wav", "vcd", "mdf", "parquet", "npy")
ENDINGS = {
    ".csv": "csv",
    ".txt": "csv",
    ".tsv": "csv",
    ".dat": "csv",
    ".asc": "csv",
    ".wav": "wav",
    ".vcd": "vcd",
    ".mf4": "mdf",
    ".mdf": "mdf",
    ".parquet": "parquet",
    ".npy": "npy",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person says about a file: `interval_s` between samples, `time` column, `most_bytes` it may
    have."""

    interval_s: float | None = None
    time: str | None = None
    most_bytes: int = 6_000_000_000


def kind_of(head: bytes, name: str) -> str | None:
    """The kind of a file from its first bytes, then from its name; None when it is neither text nor known."""
    if head[:4] in (b"RIFF", b"RF64", b"RIFX") and head[8:12] == b"WAVE":
        return "wav"
    if head[:8] in (b"MDF     ", b"UnFinMF "):
        return "mdf"
    if head[:4] == b"PAR1":
        return "parquet"
    if head[:6] == b"\x93NUMPY":
        return "npy"
    if head[:2] in (b"\xff\xfe", b"\xfe\xff") or head[:3] == b"\xef\xbb\xbf":
        return "csv"
    if b"\0" in head:
        return None
    if any(word in head for word in (b"$timescale", b"$scope", b"$date", b"$version", b"$var ")):
        return "vcd"
    return "csv"


def open_recording(path: Path, asked: Asked | None = None) -> Recording:
    """Read a recording. InputError with the reason when nothing of it can be read."""
    said = asked or Asked()
    try:
        size = path.stat().st_size
        with path.open("rb") as f:
            head = f.read(HEAD)
    except OSError as e:
        raise one(
            "no-such-file",
            f"cannot read {path.name}: {e.strerror or e}",
            remedy="check the name and the folder",
        ) from e
    if size == 0:
        raise one("empty-file", f"{path.name} is empty", remedy="record again or copy the file again")
    if size > said.most_bytes:
        raise one(
            "too-large",
            f"{path.name} has {size / 1e9:.1f} GB; {said.most_bytes / 1e9:.1f} GB at most are read",
            remedy="is this the right file? if so, cut it to the part that matters",
        )
    kind = kind_of(head, path.name)
    if kind is None:
        raise one(
            "unknown-format",
            f"{path.name} is no recording that can be read",
            expected=KINDS,
            remedy="export it from the scope as CSV",
        )
    read = _reader(kind)
    got = read(path, said)
    wanted = ENDINGS.get(path.suffix.casefold())
    if wanted and wanted != kind:
        note = f"the name ends in {path.suffix}, but the file is {kind.upper()} and was read as that"
        got = Recording(got.source, got.format, got.channels, (note, *got.notes), got.start)
    return got


def _reader(kind: str) -> Callable[[Path, Asked], Recording]:
    """The reader of a kind, imported only when it is needed: some bring heavy libraries."""
    if kind == "wav":
        from amptrail.recording.readers.sound import read
    elif kind == "vcd":
        from amptrail.recording.readers.changes import read
    elif kind == "mdf":
        from amptrail.recording.readers.mdf import read
    elif kind == "parquet":
        from amptrail.recording.readers.columns import read
    elif kind == "npy":
        from amptrail.recording.readers.bare import read
    else:
        from amptrail.recording.readers.table import read
    return read
