"""Who is at a device: chosen once, kept with what is entered, and held to the role."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from amptrail.jobs.log.cases import case, run
from amptrail.store import Entry
from amptrail.web import create_app

SHEET = "battery BAT 12 V\nlamp A 12 V 5 W\nground G1\npath BAT.+ -- A -- G1\npath BAT.- -- body\n"
PAGE = {"accept": "text/html"}


def _no_files(name: str) -> str:
    raise AssertionError(name)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """The pages of a shop with three people and one job; the client is a phone that has paired."""
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.delenv("AMPTRAIL_BY", raising=False)
    run("new", "gate", ["page"], lambda _: SHEET, "n")
    run("people", "Ann Müller", ["technician"], _no_files)
    run("people", "Bo", ["office"], _no_files, by="Ann Müller")
    run("people", "Cy", ["read-only"], _no_files, by="Ann Müller")
    app = create_app(True)
    base, client = "http://192.168.1.9:8765", ("192.168.1.50", 5000)
    with TestClient(app, base_url=base, client=client, headers=PAGE, follow_redirects=False) as c:
        assert c.post("/pair", data={"code": app.state.guard.code}).status_code == 303
        yield c


def is_(c: TestClient, name: str, to: str = "/") -> str:
    """Choose a person; where the page goes on."""
    key = re.search(r'name="key" value="([^"]+)"', c.get("/who").text)
    assert key is not None
    got = c.post("/who", data={"name": name, "to": to, "key": key[1]})
    assert got.status_code == 303
    return str(got.headers["location"])


def entered() -> list[Entry]:
    return [e for e in case("gate").entries if e.id != "n.sheet"]


def send(c: TestClient, line: str, entry: str) -> dict[str, object]:
    got = c.post("/api/jobs/gate/entries", json={"entries": [{"id": entry, "line": line}]})
    return {"status": got.status_code, **got.json()}


def form(c: TestClient, what: str, words: str, **more: str) -> int:
    key = {"key": c.app.state.guard.form_key}  # type: ignore[attr-defined]
    return c.post("/job/gate/told", data={"what": what, "words": words, **key, **more}).status_code


def test_a_phone_says_once_who_it_is(shop: TestClient) -> None:
    sent_to = shop.get("/job/gate/papers")
    assert (sent_to.status_code, sent_to.headers["location"]) == (303, "/who?to=/job/gate/papers")
    assert send(shop, "battery 12 V", "a")["status"] == 403
    assert form(shop, "note", "wet") == 403
    assert entered() == []
    for name in ("Ann Müller", "Bo", "Cy"):
        assert name in shop.get("/who").text
    assert is_(shop, "Ann Müller", "/job/gate/papers") == "/job/gate/papers"
    assert is_(shop, "Ann Müller", "//elsewhere.example") == "/"
    assert is_(shop, "nobody") == "/who"  # and who it was stays
    assert send(shop, "A.in in running meter 12 V", "a")["added"] == ["a"]
    assert [(e.id, e.by) for e in entered()] == [("a", "Ann Müller")]
    assert "Ann Müller" in shop.get("/job/gate/papers").text
    rows = shop.get("/api/jobs/gate").json()["readings"]
    assert rows == [{"id": "a", "line": "A.in in running meter 12 V", "by": "Ann Müller"}]


def test_the_office_enters_what_is_for_the_papers(shop: TestClient) -> None:
    is_(shop, "Bo")
    refused = send(shop, "A.in in running meter 12 V", "a")["refused"]
    assert "the office does not enter a reading" in str(refused)
    assert form(shop, "time", "drive 40") == 303
    assert form(shop, "part", "eye M8", price="2,40", count="2") == 303
    assert form(shop, "set", "rate=95") == 303
    assert form(shop, "done", "new eye") == 422
    for wrong in ("two", "nan", "inf", "-1", "1e9"):
        assert form(shop, "part", "eye M8", price=wrong) == 422, wrong
    assert form(shop, "part", "eye M8", count="-2") == 422
    assert form(shop, "close", "now") == 422
    key = {"key": shop.app.state.guard.form_key}  # type: ignore[attr-defined]
    kept = shop.post("/job/gate/files", data={**key, "words": "green"}, files={"file": ("a.txt", b"it is")})
    assert kept.status_code == 303
    assert [(e.kind, e.by) for e in entered()] == [(k, "Bo") for k in ("time", "part", "state", "file")]
    assert dict(entered()[1].data) == {"text": "eye M8", "count": 2.0, "price": 2.4}


def test_who_may_only_read_reads(shop: TestClient) -> None:
    is_(shop, "Cy")
    assert shop.get("/job/gate/papers").status_code == 200
    assert "may read and not write" in str(send(shop, "A.in in running meter 12 V", "a")["refused"])
    assert form(shop, "note", "wet") == 422
    assert entered() == []


def test_who_has_left_is_asked_again(shop: TestClient) -> None:
    is_(shop, "Bo")
    run("people", "Bo", ["gone"], _no_files, by="Ann Müller")
    assert shop.get("/job/gate/papers").headers["location"].startswith("/who")
    assert 'value="Bo"' not in shop.get("/who").text


def test_two_devices_are_two_people(shop: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    """The laptop is whoever started the pages until it says otherwise; a phone never is."""
    monkeypatch.setenv("AMPTRAIL_BY", "Bo")
    is_(shop, "Ann Müller")
    with TestClient(shop.app, headers=PAGE, follow_redirects=False) as laptop:
        assert form(laptop, "note", "from the laptop") == 303
        assert form(shop, "note", "from the phone") == 303
        is_(laptop, "Cy")
        assert form(laptop, "note", "again") == 422
    assert [e.by for e in entered()] == ["Bo", "Ann Müller"]


def test_where_nobody_is_listed_nobody_is_asked(client: TestClient) -> None:
    assert client.get("/").status_code == 200
    assert "Nobody is listed" in client.get("/who").text
