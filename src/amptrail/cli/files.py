"""Where a command's texts come from: files on disk, or texts handed over with a batch request."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from amptrail.errors import nearest, one
from amptrail.sheet.parse import decode

MOST_BYTES, PROOF_BYTES = 5_000_000, 60_000_000


class Files:
    """Reads named files: those `given`, others from the disk. With `given` nothing is written there.
    `sealed`: only the names given exist, for a request of somebody who has no business with the files of this
    machine. With `for_people` the answer is for a screen, and may use what only this machine knows."""

    def __init__(
        self, given: Mapping[str, str | bytes] | None = None, for_people: bool = False,
        sealed: bool = False,
    ) -> None:  # fmt: skip
        self.given, self.for_people, self.sealed = given, for_people, sealed
        self._folder: TemporaryDirectory[str] | None = None

    def _brought(self, name: str) -> str | bytes | None:
        """What the request brings under that name; None where the disk is to be read."""
        if self.given is None or (not self.sealed and name not in self.given):
            return None
        if name not in self.given:
            raise one(
                "no-such-file",
                f"the request brings no file {name}",
                expected=tuple(self.given),
                nearest=nearest(name, list(self.given)),
                remedy="send it under `files`, or start batch without --sealed to read files of this machine",
            )
        return self.given[name]

    def text(self, name: str, most_bytes: int = MOST_BYTES) -> str:
        """The text of a file, decoded; InputError when it cannot be or is larger."""
        brought = self._brought(name)
        if brought is not None:
            return brought if isinstance(brought, str) else decode(brought)
        path = Path(name)
        try:
            if path.is_dir():
                raise one("not-a-file", f"{name} is a folder", remedy="name a file")
            size = path.stat().st_size
            if size > most_bytes:
                raise one(
                    "too-large",
                    f"{name} has {size} bytes; such a file has at most {most_bytes}",
                    remedy="is this the right file?",
                )
            return decode(path.read_bytes())
        except OSError as e:
            near = [p.name for p in path.parent.glob("*")] if path.parent.is_dir() else []
            raise one(
                "no-such-file",
                f"cannot read {name}: {e.strerror or e}",
                nearest=nearest(path.name, near),
                remedy="check the name and the folder",
            ) from e

    def on_disk(self, name: str) -> Path:
        """The path of a file, for what is no text: one handed over with a request is written to a folder that
        goes when the request is `done`."""
        brought = self._brought(name)
        if brought is None:
            return Path(name)
        if self._folder is None:
            self._folder = TemporaryDirectory(prefix="request-", ignore_cleanup_errors=True)
        # one folder a name: files of two folders may end alike
        folder = Path(self._folder.name) / str(list(self.given or ()).index(name))
        folder.mkdir(exist_ok=True)
        last = Path(name).name
        path = folder / (last if last not in ("", "..") else "file")
        path.write_bytes(brought.encode() if isinstance(brought, str) else brought)
        return path

    def done(self) -> None:
        """The answer was given: what was handed over goes."""
        if self._folder is not None:
            self._folder.cleanup()
            self._folder = None

    def keep(self, name: str, content: str | bytes) -> None:
        """Write a file that was asked for; texts handed over with a request leave the disk alone."""
        if self.given is not None:
            return
        from amptrail.store.whole import write_whole

        try:
            write_whole(Path(name), content.encode() if isinstance(content, str) else content)
        except OSError as e:
            raise one(
                "cannot-write", f"cannot write {name}: {e.strerror or e}", remedy="name a file you may write"
            ) from e

    def place(self, name: str) -> Path | None:
        """Where a file may be written; None with a request, which leaves the disk alone."""
        return None if self.given is not None else Path(name)

    def exists(self, name: str) -> bool:
        """Whether a file of that name can be read."""
        if self.given is not None and (name in self.given or self.sealed):
            return name in self.given
        return Path(name).is_file()


def keep_proof(files: Files, name: str, got: dict[str, Any]) -> dict[str, Any]:
    """Write the proof of the first feed that holds to a file, and leave the proofs out of the answer. In a
    batch request, which leaves the disk alone, they stay in the answer."""
    if files.given is not None:
        return got
    proofs = [row.pop("proof") for row in got.get("feeds", ()) if "proof" in row]
    if proofs:
        files.keep(name, json.dumps(proofs[0], ensure_ascii=False, sort_keys=True) + "\n")
    return got
