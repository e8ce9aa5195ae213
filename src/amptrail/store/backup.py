"""A copy of everything while others go on working, and the way back.

A backup is itself a log in an SQLite file, whatever the log was kept in: it can be opened in the place of the
first one, or added to another one, which is also how jobs move to a PostgreSQL server.
"""

from __future__ import annotations

import contextlib
import glob
import os
import shutil
from pathlib import Path
from tempfile import SpooledTemporaryFile, TemporaryDirectory
from typing import BinaryIO, cast

from sqlalchemy import Connection, select
from sqlalchemy.exc import DBAPIError

from amptrail.store.engines import READ_ONLY, said
from amptrail.store.entries import refuse
from amptrail.store.files import Attached, media_of
from amptrail.store.sql import SqlLog, open_log
from amptrail.store.tables import KEPT
from amptrail.store.transfer import attachments

ROWS = 20  # of a table copied at a time; a piece of a file has a mebibyte


def backup(log: SqlLog, to: Path) -> int:
    """Copy the whole log as it stands at one moment to a new file; returns its bytes. The file is there
    whole or not at all; StoreError when one of that name is there already or the copy is not sound."""
    if to.exists():
        raise refuse(
            "file-exists", f"{to} is there already", "a backup overwrites nothing: choose another name"
        )
    part = to.with_name(f".{to.name}.{os.getpid()}.part")
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        _swept(to)
        _copy(log, part, to)
        with part.open("rb") as f:
            os.fsync(f.fileno())
        os.link(part, to)  # never over a file that came into being meanwhile
        return to.stat().st_size
    except OSError as e:
        raise refuse(
            "cannot-write", f"cannot write {to}: {e.strerror or e}", "name a file you may write"
        ) from e
    finally:
        for rest in (part, *(part.with_name(part.name + end) for end in ("-wal", "-shm", "-journal"))):
            with contextlib.suppress(OSError):
                rest.unlink(missing_ok=True)


def _swept(to: Path) -> None:
    """Take away what a backup of that name left half done when its program was killed."""
    for rest in to.parent.glob(f".{glob.escape(to.name)}.*.part*"):
        process = rest.name[len(to.name) + 2 :].partition(".")[0]
        if process.isdigit() and not _runs(int(process)):
            rest.unlink(missing_ok=True)


def _runs(process: int) -> bool:
    if process == os.getpid():
        return False  # an earlier one of our own
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _rows(source: Connection, target: Connection) -> None:
    for table in KEPT:
        wanted = select(table).order_by(*table.primary_key).execution_options(yield_per=ROWS)
        with source.execute(wanted) as found:
            for some in found.mappings().partitions(ROWS):
                target.execute(table.insert(), [dict(r) for r in some])


def _copy(log: SqlLog, part: Path, to: Path) -> None:
    sqlite = log.engine.dialect.name == "sqlite"
    level = "AUTOCOMMIT" if sqlite else "REPEATABLE READ"
    with open_log(part) as other:
        try:
            reading = log.engine.connect().execution_options(isolation_level=level)
            with reading as source, other.engine.begin() as target:
                if sqlite:
                    source.exec_driver_sql("BEGIN")  # one moment for every table, in nobody's way
                _rows(source, target)
                if sqlite:
                    source.exec_driver_sql("ROLLBACK")
        except DBAPIError as e:
            raise said(e, f"{log.where} (copied to {to})") from e
        with other.engine.connect().execution_options(**READ_ONLY) as c:
            sound = c.exec_driver_sql("PRAGMA integrity_check").scalar()
            c.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            c.exec_driver_sql("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
        if sound != "ok":
            raise refuse("store-damaged", f"the copy is not sound: {sound}", "look after the disk")


def restore(log: SqlLog, file: Path) -> tuple[int, int]:
    """Add what a backup holds and the log lacks, job by job; returns how many jobs and entries were new.

    Nothing in the log is changed: a job that went on since keeps what it has. StoreError for a file that is
    no backup, or a job that says something else under the same id.
    """
    if not file.exists():
        raise refuse("no-such-file", f"there is no file {file}", "check the name and the folder")
    new_jobs = new_entries = 0
    with TemporaryDirectory(prefix="amptrail-") as folder, open_log(_taken(file, Path(folder))) as other:
        had = set(log.jobs())
        for person in other.people().values():
            if person.name not in log.people():
                log.list_person(person)
        for job in other.jobs():
            entries = other.entries(job)
            sent = [_attached(other, h) for h in attachments(entries)]
            added = log.add_all(entries, sent, checked=True)
            new_entries += len(added)
            new_jobs += job not in had
    return new_jobs, new_entries


def _taken(file: Path, folder: Path) -> Path:
    """A copy to read from: an old backup is brought to this version, and stays as it is itself."""
    try:
        return Path(shutil.copyfile(file, folder / "backup.sqlite"))
    except OSError as e:
        raise refuse(
            "no-such-file", f"cannot read {file}: {e.strerror or e}", "check the file and its rights"
        ) from e


def _attached(log: SqlLog, sha256: str) -> Attached:
    def opened() -> BinaryIO:
        f = SpooledTemporaryFile(max_size=1 << 24)  # noqa: SIM115  closed by who reads it
        for piece in log.file(sha256):
            f.write(piece)
        f.seek(0)
        return cast("BinaryIO", f)

    begin = next(log.file(sha256), b"")
    size = sum(len(x) for x in log.file(sha256))
    return Attached(sha256, size, media_of(begin[:512]), opened)
