"""Two servers on one log: a laptop and a second laptop, each with its phones, on the same SQLite file."""

from __future__ import annotations

import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

import pytest
from driving import Served

from amptrail.jobs.log.cases import case, run

SHEET = "battery BAT 12 V\nlamp A 12 V 5 W\nground G1\npath BAT.+ -- A -- G1\npath BAT.- -- body\n"
IN_TURN, AT_ONCE = 8, 20


@pytest.fixture
def two(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[Served, Served]]:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.delenv("AMPTRAIL_STORE", raising=False)
    run("new", "gate", ["page"], lambda _: SHEET, "n")
    with ThreadPoolExecutor(2) as pool:  # both start at once, on a log that only one of them can open first
        pages = list(pool.map(lambda _: Served(tmp_path), range(2)))
    yield pages[0], pages[1]
    for p in pages:
        p.stop()


def _asked(pages: Served, path: str, body: Any = None) -> Any:
    data = None if body is None else json.dumps(body).encode()
    asked = Request(pages.address + path, data, {"content-type": "application/json"})
    with urlopen(asked, timeout=60) as answer:
        return json.load(answer)


def _enter(pages: Served, entry: str, line: str, kind: str = "reading") -> Any:
    body = {"entries": [{"id": entry, "kind": kind, "line": line}]}
    return _asked(pages, "/api/jobs/gate/entries", body)


def _readings(pages: Served) -> list[tuple[str, str]]:
    return [(r["id"], r["line"]) for r in _asked(pages, "/api/jobs/gate")["readings"]]


def test_two_servers_on_one_log_agree_and_lose_nothing(two: tuple[Served, Served]) -> None:
    said = {f"t{n}": f"A.in in running meter 11.{n} V" for n in range(IN_TURN)}
    for n, (entry, line) in enumerate(said.items()):
        assert _enter(two[n % 2], entry, line)["added"] == [entry]
        assert _readings(two[0]) == _readings(two[1])
    assert [i for i, _ in _readings(two[0])] == list(said)  # in turn: the order they were said in

    def burst(k: int) -> list[Any]:
        got = []
        for n in range(AT_ONCE):  # every fourth is sent to both, as by a phone that lost its answer
            entry = f"both{n}" if n % 4 == 0 else f"s{k}.{n}"
            got.append(_enter(two[k], entry, f"A.in in running meter 10.{n} V"))
        return got

    with ThreadPoolExecutor(2) as pool:
        told = list(pool.map(burst, range(2)))
    assert all(not answer["refused"] for answers in told for answer in answers)
    assert _enter(two[1], "u", "t0", "undo")["added"] == ["u"]

    wanted = set(said) - {"t0"} | {f"both{n}" for n in range(0, AT_ONCE, 4)}
    wanted |= {f"s{k}.{n}" for k in range(2) for n in range(AT_ONCE) if n % 4}
    replayed = list(case("gate").state.readings)
    assert _readings(two[0]) == _readings(two[1]) == replayed
    assert sorted(i for i, _ in replayed) == sorted(wanted)  # each once, none lost
    for k in range(2):  # what one server acknowledged stands in the order it was said in
        own = [i for i, _ in replayed if i.startswith(f"s{k}.")]
        assert own == [f"s{k}.{n}" for n in range(AT_ONCE) if n % 4]
