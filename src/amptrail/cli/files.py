"""Where a command's texts come from: files on disk, or texts handed over with a batch request."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from tempfile import TemporaryDirectory

from amptrail.errors import nearest, one
from amptrail.sheet.parse import decode

MOST_BYTES = 5_000_000
_KEPT: list[TemporaryDirectory[str]] = []


class Files:
    """Reads named texts. With `given`, only those names exist and the disk is never touched."""

    def __init__(self, given: Mapping[str, str] | None = None) -> None:
        self.given = given
        self._folder: TemporaryDirectory[str] | None = None

    def text(self, name: str) -> str:
        """The text of a file, decoded; InputError when it cannot be."""
        if self.given is not None:
            if name not in self.given:
                raise one(
                    "no-such-file",
                    f"the request brings no file {name}",
                    expected=tuple(self.given),
                    nearest=nearest(name, list(self.given)),
                    remedy="send it under `files`",
                )
            return self.given[name]
        path = Path(name)
        try:
            if path.is_dir():
                raise one("not-a-file", f"{name} is a folder", remedy="name a file")
            size = path.stat().st_size
            if size > MOST_BYTES:
                raise one(
                    "too-large",
                    f"{name} has {size} bytes; a sheet has at most {MOST_BYTES}",
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
        """The path of a file, for what is no text: one handed over with a request is written to a folder
        that goes with
        the process, any other name is a path on this machine."""
        if self.given is None or name not in self.given:
            return Path(name)
        if self._folder is None:
            self._folder = TemporaryDirectory(prefix="request-", ignore_cleanup_errors=True)
            _KEPT.append(self._folder)
        path = Path(self._folder.name) / (Path(name).name or "file")
        path.write_text(self.given[name], encoding="utf-8")
        return path

    def keep(self, name: str, content: str | bytes) -> None:
        """Write a file that was asked for; texts handed over with a request leave the disk alone."""
        if self.given is not None:
            return
        try:
            Path(name).write_bytes(content.encode() if isinstance(content, str) else content)
        except OSError as e:
            raise one(
                "cannot-write", f"cannot write {name}: {e.strerror or e}", remedy="name a file you may write"
            ) from e

    def exists(self, name: str) -> bool:
        """Whether a file of that name can be read."""
        return name in self.given if self.given is not None else Path(name).is_file()
