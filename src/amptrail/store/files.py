"""What is attached to a job: photographs, recordings, any file, kept under the hash of its content."""

from __future__ import annotations

import codecs
import hashlib
import io
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from amptrail.store.entries import StoreError, refuse

PIECE = 1 << 20  # bytes read and stored at a time
LONGEST_FILE = 500_000_000  # bytes; a scope file of 100 million samples has 400 million

OTHER = "application/octet-stream"
# what a file begins with -> what it is (the signatures of the formats' own specifications)
BEGINNINGS = (
    (b"\xff\xd8\xff", "image/jpeg"), (b"\x89PNG\r\n\x1a\n", "image/png"), (b"%PDF-", "application/pdf"),
    (b"MDF     ", "application/x-mdf"), (b"RIFF", "audio/wav"), (b"PK\x03\x04", "application/zip"),
    (b"$date", "text/x-vcd"), (b"$timescale", "text/x-vcd"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Attached:
    """A file to keep: its SHA-256 (hex), its size in bytes, what it is, and a way to open it."""

    sha256: str
    size: int
    media: str
    opened: Callable[[], AbstractContextManager[BinaryIO]]

    def pieces(self) -> Iterator[bytes]:
        """The content, piece by piece; StoreError when it is no longer what was hashed."""
        digest = hashlib.sha256()
        with self.opened() as f:
            while piece := f.read(PIECE):
                digest.update(piece)
                yield piece
        if digest.hexdigest() != self.sha256:
            raise refuse("file-changed", "the file was changed while it was being read", "try again")


def media_of(begin: bytes) -> str:
    """What a file is, by its first bytes: no name is believed."""
    found = next((media for magic, media in BEGINNINGS if begin.startswith(magic)), None)
    if found:
        return found
    try:
        codecs.getincrementaldecoder("utf-8")().decode(begin)  # the cut may stand inside a letter
    except UnicodeDecodeError:
        return OTHER
    return OTHER if b"\0" in begin else "text/plain"


def _too_large(name: str, size: int) -> StoreError:
    return refuse("too-large", f"{name} has {size} bytes; an attachment has at most {LONGEST_FILE}",
                  "attach the part that matters")  # fmt: skip


def of_path(path: Path) -> Attached:
    """A file on disk; StoreError when it cannot be read, is empty or too large."""
    digest, size, begin = hashlib.sha256(), 0, b""
    try:
        if path.is_dir():
            raise refuse("not-a-file", f"{path} is a folder", "name a file")
        if path.stat().st_size > LONGEST_FILE:
            raise _too_large(str(path), path.stat().st_size)
        with path.open("rb") as f:
            while piece := f.read(PIECE):
                begin = begin or piece[:512]
                size += len(piece)
                digest.update(piece)
    except OSError as e:
        raise refuse("no-such-file", f"cannot read {path}: {e.strerror or e}",
                     "check the name and the folder") from e  # fmt: skip
    if not size:
        raise refuse("empty-file", f"{path} is empty", "attach the file once it is written")
    return Attached(digest.hexdigest(), size, media_of(begin), lambda: path.open("rb"))


def of_bytes(content: bytes) -> Attached:
    """A file in memory; StoreError when it is empty or too large."""
    if not content:
        raise refuse("empty-file", "the file is empty", "send its content")
    if len(content) > LONGEST_FILE:
        raise _too_large("the file", len(content))
    return Attached(
        hashlib.sha256(content).hexdigest(), len(content), media_of(content[:512]),
        lambda: io.BytesIO(content),
    )  # fmt: skip
