"""Files of a job: attached to it and fetched again; the whole job out and in; everything kept as a copy."""

from __future__ import annotations

import tempfile
from functools import partial
from pathlib import Path

from amptrail.errors import nearest, one, typed
from amptrail.jobs.base.context import Json
from amptrail.jobs.base.joblog import Ask, known
from amptrail.store import (
    Attached,
    export_file,
    export_job,
    import_file,
    import_job,
    is_file,
    of_path,
    rebuild,
)
from amptrail.store.people import may
from amptrail.store.whole import write_whole

PIECE = 1 << 20


def attach(a: Ask) -> Json:
    """A photograph, a recording, any file: kept with the job, with words that are found again."""
    if not a.text:
        raise one("usage", "which file?", remedy=f'amptrail job attach {typed(a.name)} FILE "what it shows"')
    known(a.log, a.name)
    path = a.files().on_disk(a.text[0])
    return keep(a, of_path(path), Path(a.text[0]).name, " ".join(a.text[1:]).strip())


def keep(a: Ask, attached: Attached, name: str, words: str) -> Json:
    """Keep a file under the hash of its content."""
    data = {"sha256": attached.sha256, "size": attached.size, "media": attached.media, "name": name[:200],
            "text": words}  # fmt: skip
    e = a.entry("file", data)
    new = a.log.add(e, attached)
    told = "attached" if new else "there already:"
    return {"added": [e.id] if new else [], "text": f"{e.id} {told} {name}, {size(attached.size)}"}


def size(count: int) -> str:
    """Bytes as a person reads them."""
    return (
        f"{count} bytes"
        if count < 10_000
        else f"{count / 1e3:.0f} kB"
        if count < 1e6
        else f"{count / 1e6:.1f} MB"
    )


def fetch(a: Ask) -> Json:
    """An attached file back on the disk, checked against its hash."""
    files = rebuild(known(a.log, a.name)).files
    wanted = a.text[0] if a.text else ""
    hits = [f for f in files if str(f["id"]).startswith(wanted) or f.get("name") == wanted] if wanted else []
    if len(hits) != 1 or len(a.text) > 2:
        ids = [str(f["id"]) for f in files]
        what = f"job {a.name} has not one file called {wanted}" if wanted else "which file?"
        raise one("no-such-file", what, expected=tuple(ids),
                  nearest=nearest(wanted, [*ids, *(str(f.get("name")) for f in files)]),
                  remedy=f"amptrail job fetch {typed(a.name)} ID [FILE]")  # fmt: skip
    to = a.text[1] if len(a.text) == 2 else Path(str(hits[0].get("name") or hits[0]["id"])).name
    path = _writable(a, to)
    if path.exists() and len(a.text) < 2:
        raise one("file-exists", f"{to} is there already",
                  remedy=f"name another: job fetch {typed(a.name)} ID FILE")  # fmt: skip
    try:
        write_whole(path, a.log.file(str(hits[0]["sha256"])))
    except OSError as e:
        raise one("cannot-write", f"cannot write {to}: {e.strerror or e}",
                  remedy="name a file you may write") from e  # fmt: skip
    return {"text": f"{to}, {size(int(hits[0]['size']))}"}


def _writable(a: Ask, name: str) -> Path:
    """Where a file is to be written; InputError with a request, which leaves the disk alone."""
    path = a.files().place(name)
    if path is None:
        raise one("no-disk", f"{name} is not written here", remedy="use the command line")
    return path


def export(a: Ask) -> Json:
    """The whole job: as text, or with every attachment as one file."""
    entries = known(a.log, a.name)
    if not a.text:
        files = rebuild(entries).files
        if files:
            raise one("usage", f"job {a.name} has {len(files)} attached files, which text cannot hold",
                      remedy=f"amptrail job export {typed(a.name)} FILE")  # fmt: skip
        return {"text": export_job(a.log, a.name)}
    path = _writable(a, a.text[0])
    with tempfile.TemporaryFile() as f:
        export_file(a.log, a.name, f)
        f.seek(0)
        try:
            write_whole(path, iter(partial(f.read, PIECE), b""))
        except OSError as e:
            raise one("cannot-write", f"cannot write {a.text[0]}: {e.strerror or e}",
                      remedy="name a file you may write") from e  # fmt: skip
    return {"text": f"job {a.name}, {len(entries)} entries, in {a.text[0]}"}


def take_in(a: Ask) -> Json:
    """A job that was exported, checked byte by byte, all of it or nothing."""
    if not a.text:
        raise one("usage", "there is no file to import", remedy="amptrail job import NAME FILE")
    may(a.log.people(), a.entry("sheet", {}), None)
    binary = False
    if a.disk is not None:
        path = a.disk.on_disk(a.text[0])
        try:
            with path.open("rb") as f:
                binary = is_file(f.read(8))
        except OSError:
            binary = False  # the reader of texts says what is wrong
    new = import_file(a.log, path, a.name)[1] if binary else import_job(a.log, a.read(a.text[0]), a.name)[1]
    return {
        "text": f"job {a.name}: {new} new entries" if new else f"job {a.name}: everything was there already"
    }


def backup(a: Ask) -> Json:
    """Every job with its files, copied to one file while others go on working."""
    from amptrail.store.backup import backup as copy

    made = copy(a.log, _writable(a, a.name))
    return {"text": f"{len(a.log.jobs())} jobs, {size(made)}, in {a.name}"}


def restore(a: Ask) -> Json:
    """What a backup holds and the log lacks is added."""
    from amptrail.store.backup import restore as bring

    may(a.log.people(), a.entry("sheet", {}, job="all"), None)
    jobs, entries = bring(a.log, a.files().on_disk(a.name))
    return {
        "text": f"{jobs} jobs and {entries} entries were added" if entries else "everything was there already"
    }
