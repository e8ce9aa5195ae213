"""`batch`: one JSON request a line, one answer a line, in order, in one warm process."""

from __future__ import annotations

import base64
import json
import math
import sys
from collections.abc import Iterable, Iterator
from typing import Any

from amptrail.cli.dispatch import answer, failed, said
from amptrail.cli.files import Files
from amptrail.errors import one
from amptrail.jobs.base.joblog import SEALED

Json = dict[str, Any]
LEFT_OUT = ("--json", "--verbose")  # every answer is an object, and a batch has no screen


def _content(name: str, given: object) -> str | bytes:
    """A file of a request: text, or `{"base64": …}` for one that is no text. ValueError for anything else."""
    if isinstance(given, str):
        return _sound(given)
    if isinstance(given, dict) and isinstance(given.get("base64"), str):
        return base64.b64decode(given["base64"], validate=True)
    raise ValueError(f"`files` has no text under {name}")


def _number(text: str) -> float:
    """A number of a request; JSON has no other than finite ones. ValueError for `NaN` and `1e999`."""
    if not math.isfinite(value := float(text)):
        raise ValueError(f"{text} is no number")
    return value


def _sound(text: str) -> str:
    """The text without halves of characters, which no UTF-8 can hold."""
    return text.encode("utf-8", "surrogatepass").decode("utf-8", "replace")


def _word(text: str) -> str:
    """A word of a command line, which has no null character."""
    return _sound(text).replace("\0", "\ufffd")


def _request(line: str, number: list[Any]) -> tuple[list[str], dict[str, str | bytes]]:
    """What is asked; the id, once known, goes into `number`. ValueError says what is wrong with the line."""
    got = json.loads(line, parse_float=_number, parse_constant=_number)
    if isinstance(got, dict):
        number[0] = got.get("id")
    if not isinstance(got, dict) or not isinstance(got.get("argv"), list):
        raise ValueError("a request is an object with `id`, `argv` and `files`")
    argv = [_word(str(x)) for x in got["argv"]]
    if argv and argv[0] == "amptrail":
        argv = argv[1:]
    files = got.get("files") or {}
    if not isinstance(files, dict):
        raise ValueError("`files` is an object of name: text")
    brought = {_word(k): _content(k, v) for k, v in files.items()}
    return [a for a in argv if a not in LEFT_OUT], brought


def answers(lines: Iterable[str], sealed: bool = False) -> Iterator[Json]:
    """The answer to every request line; a broken line gets an answer too, with its id where it has one.
    `sealed`: requests read no file but those they bring, and no job."""
    for line in lines:
        if not line.strip():
            continue
        number: list[Any] = [None]
        try:
            argv, files = _request(line, number)
        except (ValueError, RecursionError) as e:
            problem = one(
                "bad-request", f"this line is no request: {e}", remedy='send {"id":1,"argv":[…],"files":{}}'
            )
            yield {"id": number[0], **failed(None, problem)}
            continue
        brought, token = Files(files, sealed=sealed), SEALED.set(sealed)
        try:
            got = {"id": number[0], **answer(argv, brought)}
        finally:
            SEALED.reset(token)
            brought.done()
        yield got


def _lines(requests: str | None) -> Iterable[str]:
    """Lines end at a line feed alone: a text in JSON may hold other ends of lines."""
    if requests:
        return Files().text(requests).split("\n")
    raw = getattr(sys.stdin, "buffer", None)
    return sys.stdin if raw is None else (line.decode("utf-8", "replace") for line in raw)


def serve(requests: str | None, sealed: bool = False) -> int:
    """Answer every request of a file, or of standard input, on standard output; exit status 0."""
    for got in answers(_lines(requests), sealed):
        sys.stdout.write(said(got))
        sys.stdout.flush()
    return 0
