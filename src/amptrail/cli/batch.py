"""`batch`: one JSON request a line, one answer a line, in order, in one warm process."""

from __future__ import annotations

import base64
import json
import sys
from collections.abc import Iterable, Iterator
from typing import Any

from amptrail.cli.dispatch import answer, failed
from amptrail.cli.files import Files
from amptrail.errors import one
from amptrail.jobs.base.joblog import SEALED

Json = dict[str, Any]


def _content(name: str, given: object) -> str | bytes:
    """A file of a request: text, or `{"base64": …}` for one that is no text. ValueError for anything else."""
    if isinstance(given, str):
        return given
    if isinstance(given, dict) and isinstance(given.get("base64"), str):
        return base64.b64decode(given["base64"], validate=True)
    raise ValueError(f"`files` has no text under {name}")


def _request(line: str) -> tuple[Any, list[str], dict[str, str | bytes]]:
    got = json.loads(line)
    if not isinstance(got, dict) or not isinstance(got.get("argv"), list):
        raise ValueError("a request is an object with `id`, `argv` and `files`")
    argv = [str(x) for x in got["argv"]]
    if argv and argv[0] == "amptrail":
        argv = argv[1:]
    files = got.get("files") or {}
    if not isinstance(files, dict):
        raise ValueError("`files` is an object of name: text")
    brought = {str(k): _content(k, v) for k, v in files.items()}
    return got.get("id"), [a for a in argv if a != "--json"], brought


def answers(lines: Iterable[str], sealed: bool = False) -> Iterator[Json]:
    """The answer to every request line; a broken line gets an answer with id null. `sealed`: requests
    read no file but those they bring, and no job."""
    for line in lines:
        if not line.strip():
            continue
        try:
            number, argv, files = _request(line)
        except (ValueError, RecursionError) as e:
            problem = one(
                "bad-request", f"this line is no request: {e}", remedy='send {"id":1,"argv":[…],"files":{}}'
            )
            yield {"id": None, **failed(None, problem)}
            continue
        brought, token = Files(files, sealed=sealed), SEALED.set(sealed)
        try:
            got = {"id": number, **answer(argv, brought)}
        finally:
            SEALED.reset(token)
            brought.done()
        yield got


def serve(requests: str | None, sealed: bool = False) -> int:
    """Answer every request of a file, or of standard input, on standard output; exit status 0."""
    lines = Files().text(requests).splitlines() if requests else sys.stdin
    for got in answers(lines, sealed):
        sys.stdout.write(json.dumps(got, ensure_ascii=False, allow_nan=False) + "\n")
        sys.stdout.flush()
    return 0
