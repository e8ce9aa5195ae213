"""Files of a job for the pages: bytes in, bytes out."""

from __future__ import annotations

from amptrail.errors import one
from amptrail.jobs.base.context import Json
from amptrail.jobs.base.joblog import Ask, known, opened, whose
from amptrail.jobs.log import jobfiles
from amptrail.store import of_bytes


def keep_bytes(job: str, name: str, content: bytes, words: str = "", by: str | None = None) -> Json:
    """Keep a file with a job; InputError for an unknown job, an empty file or one that is too large."""
    with opened() as log:
        known(log, job)
        plain = "".join(c for c in name.replace("\\", "/").rpartition("/")[2] if c.isprintable())
        ask = Ask(log, job, (), _no_file, None, None, {}, whose(by))
        return jobfiles.keep(ask, of_bytes(content), plain.strip() or "file", words.strip())


def content_of(sha256: str) -> bytes:
    """The content of an attached file, checked against its hash."""
    with opened() as log:
        return b"".join(log.file(sha256))


def _no_file(name: str) -> str:
    raise one("no-disk", f"no file is read here: {name}", remedy="use the command line")
