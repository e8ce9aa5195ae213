"""SIGKILL at random moments: what was acknowledged is there, the database opens, the job rebuilds.

A child does one kind of work over and over and says each piece that it was told is kept; it is killed at a
moment drawn over its first pieces, opening the log included. Then the log is opened, every acknowledged piece
is looked for, every attachment hashed, every job rebuilt. Kinds: append, undo, attachment, import of a job
file, migration of an old log, backup, search index, PDF over an older PDF.

A kill of the process is not a power cut: that the disk keeps what it acknowledged rests on SQLite's full
synchronisation (asserted by the tests) and on the disk.

Run: python -m benchmarks.kills [--times 1000] [--seed 7] [--store postgresql://USER@HOST/EMPTY_DATABASE]
"""

from __future__ import annotations

import argparse
import io
import multiprocessing
import os
import random
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

from amptrail.paper import pdf
from amptrail.paper.blocks import A4, Paper, Table, Text
from amptrail.store import (
    Attached,
    Entry,
    Log,
    MemoryLog,
    StoreError,
    export_file,
    import_file,
    of_bytes,
    rebuild,
    search,
    undone,
)
from amptrail.store.backup import backup
from amptrail.store.sql import SqlLog, open_log
from amptrail.store.whole import write_whole

AT = "2026-11-25T12:00:00+00:00"
ROUNDS = 25  # kills a log lives through before the next one
OLD = Path(__file__).parents[1] / "tests" / "store" / "schemas" / "0001-sqlite.sql"
Say = Callable[[str], None]


@dataclass
class Place:
    """A log under fire, and what of it was acknowledged."""

    folder: Path
    where: Path | str
    acknowledged: list[str] = field(default_factory=list)
    tag: str = ""  # of the jobs of one round

    def job(self, kind: str) -> str:
        """The name of this round's job of a kind."""
        return f"{kind}{self.tag}"

    def open(self) -> SqlLog:
        return open_log(self.where, wait_s=30)


def content(name: str) -> bytes:
    """The bytes of an attachment, different for each name."""
    return random.Random(name).randbytes(1_300_000)


def filed(job: str, name: str) -> tuple[Entry, Attached]:
    """An entry with its attachment."""
    a = of_bytes(content(name))
    return Entry(job, name, "file", AT, {"sha256": a.sha256, "size": a.size, "media": a.media}), a


def _from(log: Log, job: str, begin: str) -> int:
    return sum(e.id.startswith(begin) for e in log.entries(job))


def appends(place: Place, say: Say) -> None:
    """One entry after the other, small and large."""
    with place.open() as log:
        n = _from(log, place.job("append"), "e")
        while True:
            log.add(
                Entry(
                    place.job("append"),
                    f"e{n}",
                    "reading",
                    AT,
                    {"text": f"BAT.+ {n} V " + "x" * (n * 37 % 5000)},
                )
            )
            say(f"{place.job('append')} e{n}")
            n += 1


def undos(place: Place, say: Say) -> None:
    """A reading, and the word that takes it back, together: never one without the other."""
    with place.open() as log:
        n = _from(log, place.job("undo"), "e")
        while True:
            log.add_all([Entry(place.job("undo"), f"e{n}", "reading", AT, {"text": f"BAT.+ {n} V"}),
                         Entry(place.job("undo"), f"u{n}", "undo", AT, {"entry": f"e{n}"})])  # fmt: skip
            say(f"{place.job('undo')} u{n}")
            n += 1


def attaches(place: Place, say: Say) -> None:
    """Photographs and recordings."""
    with place.open() as log:
        n = _from(log, place.job("file"), "f")
        while True:
            log.add(*filed(place.job("file"), f"f{n}"))
            say(f"{place.job('file')} f{n}")
            n += 1


def imports(place: Place, say: Say) -> None:
    """A whole job with its attachment, all or nothing."""
    with place.open() as log:
        n = sum(j.startswith("import") and j.endswith(place.tag) for j in log.jobs())
        while True:
            made, out = MemoryLog(), io.BytesIO()
            made.add_all([Entry("x", f"e{k}", "note", AT, {"text": f"{n} {k}"}) for k in range(20)])
            e, a = filed("x", f"i{n}")
            made.add(e, a)
            export_file(made, "x", out)
            import_file(log, out, place.job(f"import{n}"))
            say(f"{place.job(f'import{n}')} i{n}")
            n += 1


def migrates(place: Place, say: Say) -> None:
    """An old log is opened by this program."""
    while True:
        target = place.folder / f"old{time.monotonic_ns()}.sqlite"
        c = sqlite3.connect(target)
        c.executescript(OLD.read_text(encoding="utf-8"))
        c.close()
        say(f"old {target.name}")
        open_log(target).close()


def backups(place: Place, say: Say) -> None:
    """A copy of everything."""
    with place.open() as log:
        while True:
            name = f"copy{time.monotonic_ns()}.sqlite"
            say(f"began {name}")
            backup(log, place.folder / name)
            say(f"backup {name}")


def searches(place: Place, say: Say) -> None:
    """The index of words is brought up to date."""
    with place.open() as log:
        n = _from(log, place.job("word"), "e")
        while True:
            log.add(Entry(place.job("word"), f"e{n}", "note", AT, {"text": f"word{n} lift pump"}))
            say(f"{place.job('word')} e{n}")
            search(log, f"word{n}")
            n += 1


def page(n: int) -> Paper:
    """A paper that says its number in every row."""
    return Paper(f"page {n}", A4, (Text(f"begin {n}"), Table(("a", "b"), ((f"row {n}", "x"),) * 60, (1, 1))))


def papers(place: Place, say: Say) -> None:
    """A PDF over an older one."""
    n = 0
    while True:
        write_whole(place.folder / "findings.pdf", pdf(page(n)))
        say(f"pdf {n}")
        n += 1


KINDS: dict[str, Callable[[Place, Say], None]] = {
    "append": appends, "undo": undos, "attachment": attaches, "import": imports, "migration": migrates,
    "backup": backups, "search": searches, "pdf": papers,
}  # fmt: skip
MOST_PIECES = 4  # of a kind that are let pass before the kill


@dataclass
class Pace:
    """How long a piece of each kind takes here, learned while it goes on: the moment of a kill is drawn over
    it, so that a busy machine does not move all kills to the beginning."""

    seconds: dict[str, float] = field(default_factory=dict)

    def after(self, kind: str, rng: random.Random) -> float:
        """Seconds after the last piece."""
        return rng.uniform(0.0, 1.1 * self.seconds.get(kind, 0.1))

    def learn(self, kind: str, seconds: float) -> None:
        """A moving mean."""
        self.seconds[kind] = 0.7 * self.seconds.get(kind, seconds) + 0.3 * seconds


def _work(place: Place, kind: str, into: Connection) -> None:  # pragma: no cover  (this process is killed)
    """One kind of work until killed, each piece said as a line."""

    def say(words: str) -> None:
        os.write(into.fileno(), f"{words}\n".encode())

    try:
        say("begin")
        KINDS[kind](place, say)
    except BaseException as e:
        say(f"failed {e!r}")
    os._exit(0)


def killed(place: Place, kind: str, rng: random.Random, pace: Pace) -> list[str]:
    """Start the work in a child and kill it somewhere inside its first pieces; what it acknowledged.

    Children come from a process of their own that has started no thread: one forked here could inherit the
    lock of a thread that it has not."""
    made = multiprocessing.get_context("forkserver")
    made.set_forkserver_preload(["benchmarks.kills"])
    out, into = made.Pipe(duplex=False)
    child = made.Process(target=_work, args=(Place(place.folder, place.where, tag=place.tag), kind, into))
    child.start()
    into.close()
    with os.fdopen(os.dup(out.fileno()), "rb") as told:
        lines = [told.readline()]
        for _ in range(rng.randrange(MOST_PIECES)):
            begun = time.monotonic()
            lines.append(told.readline())
            pace.learn(kind, time.monotonic() - begun)
        time.sleep(pace.after(kind, rng))
        child.kill()
        rest = told.read()
    out.close()
    child.join()
    said = (b"".join(lines[1:]) + rest).decode().split("\n")[:-1]  # half a line was never said
    wrong = [x for x in said if x.startswith("failed")]
    if wrong:
        raise AssertionError(f"{kind}: {wrong[0]}")
    return said


def lost(place: Place, kind: str, said: list[str]) -> list[str]:
    """Everything that is not as it was acknowledged, in words; [] when all is well."""
    place.acknowledged += [x for x in said if kind not in ("pdf", "migration", "backup")]
    missing: list[str] = []
    with place.open() as log:
        if log.engine.dialect.name == "sqlite":
            with log.engine.connect() as c:
                sound = c.exec_driver_sql("PRAGMA integrity_check").scalar()
            missing += [] if sound == "ok" else [f"integrity: {sound}"]
        missing += _entries(log, place)
    if kind == "migration":
        missing += _migrated(place, said)
    elif kind == "backup":
        missing += _copied(place, said)
    elif kind == "pdf":
        missing += _printed(place, said)
    return missing


def _entries(log: SqlLog, place: Place) -> list[str]:
    missing: list[str] = []
    there: dict[str, list[str]] = {}
    for job in (j for j in log.jobs() if j.endswith(place.tag)):
        entries = log.entries(job)
        there[job] = [e.id for e in entries]
        rebuild(entries)
        gone = undone(entries)
        for e in entries:
            if e.kind == "file" and b"".join(log.file(str(e.data["sha256"]))) != content(e.id):
                missing.append(f"{job} {e.id} has other content")
            if job == place.job("undo") and e.kind == "reading" and e.id not in gone:
                missing.append(f"{e.id} without its undo")
        if job.startswith("import") and len(entries) != 21:
            missing.append(f"{job} is half there")
        order = [x for x in there[job] if x[0] == "e"]
        if order != [f"e{n}" for n in range(len(order))]:
            missing.append(f"{job} is out of order")
    for words in place.acknowledged:
        job, id = words.split()
        if id not in there.get(job, ()):
            missing.append(f"{words} was acknowledged and is not there")
    return missing


def _migrated(place: Place, said: list[str]) -> list[str]:
    for words in said:
        file = place.folder / words.split()[1]
        with open_log(file) as log:
            s = rebuild(log.entries("gate"))
            if (s.cause, s.readings_text, log.jobs()) != (
                "water on the joint",
                "BAT.+ 9.9 V\n",
                ["gate", "arm"],
            ):
                return [f"{file.name} lost something: {s}"]
            if not search(log, "lift pump"):
                return [f"{file.name}: nothing is found in it"]
    return []


def _copied(place: Place, said: list[str]) -> list[str]:
    missing: list[str] = []
    done = {x.split()[1] for x in said if x.startswith("backup")}
    for name in (x.split()[1] for x in said if x.startswith("began")):
        file = place.folder / name
        if file.exists():  # whole, or not at all
            with open_log(file) as copy:
                missing += [f"{name}: {x}" for x in _entries(copy, place)]
            file.unlink()
        elif name in done:
            missing.append(f"{name} was acknowledged and is not there")
    for rest in place.folder.glob(".*.part*"):
        rest.unlink()
    return missing


def _printed(place: Place, said: list[str]) -> list[str]:
    import pypdfium2  # type: ignore[import-untyped]

    file = place.folder / "findings.pdf"
    last = max((int(x.split()[1]) for x in said), default=-1)
    if not file.exists():
        return [f"page {last} was acknowledged and is not there"] if said else []
    text = "".join(p.get_textpage().get_text_bounded() for p in pypdfium2.PdfDocument(str(file)))
    number = text.split("begin ")[1].split()[0]
    if text.count(f"row {number}") != 60:
        return [f"page {number} is half there"]
    place.folder.joinpath("findings.pdf").unlink()
    return [] if int(number) >= last else [f"page {number} is there, {last} was acknowledged"]


def trial(times: int, seed: int, folder: Path, store: str | None = None, kinds: tuple[str, ...] = tuple(KINDS)
          ) -> tuple[Counter[str], Counter[str], list[str]]:  # fmt: skip
    """Kill so many times; kills and acknowledged pieces by kind, and what was lost, in words."""
    rng = random.Random(seed)
    kinds = tuple(k for k in kinds if not (store and k == "migration"))  # its old log is a file
    kills: Counter[str] = Counter()
    pieces: Counter[str] = Counter()
    missing: list[str] = []
    pace = Pace()
    place = Place(folder, store or folder / "jobs.sqlite")
    place.open().close()
    for n in range(times):
        if n % ROUNDS == ROUNDS - 1:
            place = Place(folder, store or folder / f"jobs{n}.sqlite", tag=f"-{n}")
            place.open().close()
        kind = kinds[n % len(kinds)]
        said = killed(place, kind, rng, pace)
        kills[kind] += 1
        pieces[kind] += len(said)
        missing += [f"kill {n}, {kind}: {x}" for x in lost(place, kind, said)]
    return kills, pieces, missing


def main() -> int:
    """Print the counts; 1 when anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else "")
    parser.add_argument("--times", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--store", help="an empty PostgreSQL database")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="kills-") as folder:
        try:
            kills, pieces, missing = trial(asked.times, asked.seed, Path(folder), asked.store)
        except StoreError as e:
            sys.stderr.write(f"{e}\n")
            return 2
    for kind in kills:
        print(f"{kind:11} {kills[kind]:5} kills, {pieces[kind]:6} pieces acknowledged")
    print(f"{'together':11} {sum(kills.values()):5} kills, {sum(pieces.values()):6} pieces acknowledged, "
          f"{len(missing)} lost")  # fmt: skip
    for words in missing[:20]:
        print("LOST", words)
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
