"""What a log promises, and the log that lives in memory. One test suite holds for every kind."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Self

from amptrail.errors import nearest, typed
from amptrail.store.entries import Entry, refuse, validate
from amptrail.store.files import PIECE, Attached
from amptrail.store.people import ROLES, Person, may
from amptrail.store.search import folded, weighed

Choose = Callable[[Sequence[Entry]], list[Entry]]


def fresh(stored: Sequence[Entry], wanted: Sequence[Entry]) -> list[Entry]:
    """Those of `wanted` that are not stored yet, in order; StoreError when an id has other content."""
    known = {e.id: e for e in stored}
    new: list[Entry] = []
    for e in wanted:
        if e.id in known:
            if not known[e.id].same_as(e):
                raise refuse("entry-differs", f"job {e.job} has an entry {e.id} with other content",
                             "give the new entry an id of its own; nothing is ever overwritten")  # fmt: skip
            continue
        if e.kind == "undo" and e.data["entry"] not in known:
            target = str(e.data["entry"])
            raise refuse("no-such-entry", f"job {e.job} has no entry {target} to take back",
                         f"list the entries: amptrail job show {typed(e.job)}",
                         nearest=nearest(target, list(known)))  # fmt: skip
        known[e.id] = e
        new.append(e)
    return new


def no_file(sha256: str) -> Exception:
    """The error of a file that is not kept."""
    return refuse("no-such-file", f"no file with the hash {sha256[:12]}… is kept here", "send the file too")


class Log(ABC):
    """Append-only logs of jobs. When `add` returns, the entry and its files are kept."""

    @abstractmethod
    def jobs(self) -> list[str]:
        """Names of the jobs, in order of their first entry."""

    @abstractmethod
    def entries(self, job: str) -> list[Entry]:
        """All entries of a job in the order they were added, undone ones too; [] for an unknown job."""

    @abstractmethod
    def file(self, sha256: str) -> Iterator[bytes]:
        """The pieces of an attached file; StoreError when there is none, or when it is damaged."""

    @abstractmethod
    def people(self) -> dict[str, Person]:
        """Everybody who was ever listed, by name, with the latest role."""

    @abstractmethod
    def saying(self, begin: str) -> dict[str, int]:
        """Jobs in which a word begins so (folded letters), each with the weight of where it stands."""

    @abstractmethod
    def _append(self, job: str, choose: Choose, files: Sequence[Attached]) -> list[Entry]:
        """Add what `choose` picks, given the stored entries, and the files: all or nothing, alone, durable
        on return."""

    @abstractmethod
    def _list_person(self, person: Person) -> None:
        """Add a row to the list of people."""

    def add_all(
        self, entries: Sequence[Entry], files: Iterable[Attached] = (), checked: bool = False
    ) -> list[Entry]:
        """Add entries of one job and the files they name, all or none; returns those that were new.
        `checked`: whose entries they are was settled where they were made (an imported job)."""
        for e in entries:
            validate(e)
        if len({e.job for e in entries}) > 1:
            raise refuse("bad-entry", "entries added together belong to one job", "add them job by job")
        people = {} if checked else self.people()

        def choose(stored: Sequence[Entry]) -> list[Entry]:
            new = fresh(stored, entries)
            known = {e.id: e for e in (*stored, *new)}
            for e in new:
                may(people, e, known.get(str(e.data.get("entry"))) if e.kind == "undo" else None)
            return new

        return self._append(entries[0].job, choose, tuple(files)) if entries else []

    def add(self, entry: Entry, *files: Attached) -> bool:
        """Add one entry; False when it was there already. Once this returns, the entry is kept."""
        return bool(self.add_all([entry], files))

    def list_person(self, person: Person) -> None:
        """List somebody, or change the role; the old one stays in the list's history."""
        if person.role not in ROLES:
            raise refuse("bad-role", f"no role is called {person.role}", "name one of these", expected=ROLES,
                         nearest=nearest(person.role, ROLES))  # fmt: skip
        validate(Entry("people", "role", "note", person.at, {}, person.name or " "))
        self._list_person(person)

    def close(self) -> None:
        """Give back what the log holds open."""
        return

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class MemoryLog(Log):
    """A log without a disk, for tests and tries."""

    def __init__(self) -> None:
        self._jobs: dict[str, list[Entry]] = {}
        self._files: dict[str, bytes] = {}
        self._people: dict[str, Person] = {}

    def jobs(self) -> list[str]:
        return list(self._jobs)

    def entries(self, job: str) -> list[Entry]:
        return list(self._jobs.get(job, ()))

    def file(self, sha256: str) -> Iterator[bytes]:
        if sha256 not in self._files:
            raise no_file(sha256)
        whole = self._files[sha256]
        return (whole[k : k + PIECE] for k in range(0, len(whole), PIECE))

    def people(self) -> dict[str, Person]:
        return dict(self._people)

    def saying(self, begin: str) -> dict[str, int]:
        found: dict[str, int] = {}
        for job, entries in self._jobs.items():
            for e in entries:
                for word, weight in weighed(e):
                    if word.startswith(folded(begin)):
                        found[job] = max(found.get(job, 0), weight)
        return found

    def _append(self, job: str, choose: Choose, files: Sequence[Attached]) -> list[Entry]:
        new = choose(self.entries(job))
        sent = {a.sha256: b"".join(a.pieces()) for a in files}
        for e in new:
            if e.kind == "file" and e.data["sha256"] not in {*self._files, *sent}:
                raise no_file(str(e.data["sha256"]))
        self._files |= sent
        if new:
            self._jobs.setdefault(job, []).extend(new)
        return new

    def _list_person(self, person: Person) -> None:
        self._people[person.name] = person
