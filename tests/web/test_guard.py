"""Who may ask: sessions, codes, other sites, sizes, and a sheet that takes too long."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from amptrail.web import create_app, work
from amptrail.web import guard as guards

PHONE = {"accept": "text/html", "host": "192.168.1.9:8765"}


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    waited: list[float] = []

    async def sleep(seconds: float) -> None:
        waited.append(seconds)

    monkeypatch.setattr(guards.asyncio, "sleep", sleep)
    return waited


def phone(workshop: bool = True) -> TestClient:
    return TestClient(create_app(workshop), base_url="http://192.168.1.9:8765", client=("192.168.1.50", 5000))


def test_nothing_off_this_machine_without_a_session(home: Path) -> None:
    for workshop in (False, True):
        c = phone(workshop)
        for path in ("/api/jobs", "/api/openapi.json", "/job/x", "/"):
            assert c.get(path, follow_redirects=False).status_code == 401, path
    shown = phone().get("/", headers={"accept": "text/html"}, follow_redirects=False)
    assert (shown.status_code, shown.headers["location"]) == (303, "/pair")
    shown = phone().get("/job/x y", headers={"accept": "text/html"}, follow_redirects=False)
    assert shown.headers["location"] == "/pair?to=/job/x%20y"  # and back there with what is kept on the phone


def _routes() -> list[tuple[str, str]]:
    found = []
    for route in create_app().routes:
        for r in getattr(getattr(route, "original_router", None), "routes", [route]):
            for method in getattr(r, "methods", None) or ():
                found.append((method, re.sub(r"\{[^}]*\}", "x", r.path)))
    return found


def test_every_page_and_every_call_needs_a_session_off_this_machine(home: Path) -> None:
    """All routes there are, so that a new one cannot be forgotten."""
    c, tried = phone(), 0
    for method, path in _routes():
        if path.startswith(guards.OPEN):
            continue
        got = c.request(method, path, headers={"accept": "application/json"}, follow_redirects=False)
        assert got.status_code == 401, (method, path)
        tried += 1
    assert tried > 20
    with pytest.raises(WebSocketDisconnect) as e, c.websocket_connect("/job/x/live"):
        pass
    assert e.value.code == 4401


def test_another_site_hears_nothing_of_a_job(client: TestClient) -> None:
    """A page elsewhere, open in the laptop's own browser, must not listen to this machine."""
    elsewhere = {"origin": "http://elsewhere.example"}
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/job/x/live", headers=elsewhere):
        pass


def test_a_name_that_is_not_ours_is_not_local(home: Path) -> None:
    """A page elsewhere that made its name point here (DNS rebinding) is not this machine."""
    c = TestClient(create_app(), base_url="http://evil.example")
    assert c.get("/api/jobs").status_code == 401


def test_pairing_and_its_session(home: Path, quick: list[float]) -> None:
    c = phone()
    code = c.app.state.guard.code  # type: ignore[attr-defined]
    assert c.post("/pair", data={"code": "00000000"}).status_code == 403
    form = {"code": f"{code[:4]} {code[4:]}", "to": "//elsewhere"}
    done = c.post("/pair", data=form, follow_redirects=False)
    assert (done.status_code, done.headers["location"]) == (303, "/")
    cookie = done.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert c.get("/api/jobs").status_code == 200
    other = TestClient(c.app, base_url="http://192.168.1.9:8765", client=("192.168.1.51", 5000))
    assert other.post("/pair", data={"code": code}).status_code == 403  # used up


def test_guessing_is_slowed_then_closed(home: Path, quick: list[float]) -> None:
    c = phone()
    for k in range(guards.WRONG_CODES):
        assert c.post("/pair", data={"code": f"{k:08d}x"}).status_code == 403
    assert quick == sorted(quick)
    assert quick[-1] > 4 * quick[0]
    right = c.app.state.guard.code  # type: ignore[attr-defined]
    assert c.post("/pair", data={"code": right}).status_code == 403
    assert "Start the program" in c.get("/pair").text


def test_another_site_changes_nothing(client: TestClient) -> None:
    got = client.post("/api/check", json={"sheet": ""}, headers={"origin": "http://elsewhere.example"})
    assert got.status_code == 403
    assert client.post("/new", data={"name": "x", "sheet": "", "key": "guess"}).status_code == 403


def test_policy_of_every_answer(client: TestClient) -> None:
    for path in ("/", "/api/jobs", "/static/pages.js", "/no-such-page"):
        policy = client.get(path).headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
    page = client.get("/read/relay-load")
    nonce = re.search(r"'nonce-([^']+)'", page.headers["content-security-policy"])
    assert nonce
    assert set(re.findall(r'<style nonce="([^"]+)"', page.text)) == {nonce[1]}
    assert not re.search(r"<script(?! type=\"module\" src=\"/static/)", page.text)
    assert not re.search(r"\son\w+=", page.text)


def test_a_fault_of_the_program_is_told_and_the_server_stays_up(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(**_: object) -> dict[str, object]:
        raise KeyError("X7")

    monkeypatch.setitem(work.USE_CASES, "check", broken)
    went, problems = work._call("check", {})
    assert not went
    assert problems[0].code == "internal"
    assert "KeyError" in problems[0].message
    assert problems[0].remedy


def test_too_large(client: TestClient) -> None:
    def pieces() -> Iterator[bytes]:
        yield b"x" * 100

    assert client.post("/api/check", content=pieces()).status_code == 411  # no end is said
    assert client.post("/api/check", content=b"x" * 9_000_000).status_code == 413
    assert client.post("/api/check", json={"sheet": "x" * 2_100_000}).status_code == 422


def test_names_are_never_paths(client: TestClient) -> None:
    for name in ("..%2f..%2fetc%2fpasswd", "%2e%2e", "a%00b"):
        assert client.get(f"/api/jobs/{name}").status_code in (404, 422)


def test_a_question_that_takes_too_long_is_stopped_and_the_server_stays_up(home: Path) -> None:
    with TestClient(create_app(longest_s=0.05)) as c:
        begun = time.monotonic()
        got = c.post("/api/expect", json={"sheet": "battery BAT 12 V\npath BAT.- -- body"})
        assert got.status_code == 422
        assert got.json()["problems"][0]["code"] == "too-long"
        assert time.monotonic() - begun < 20
        assert c.get("/api/jobs").status_code == 200


def test_ctrl_c_is_for_the_server_and_not_for_the_process_beside_it() -> None:
    """On a terminal both get it; that process wrote a page of the program's insides."""

    async def asked() -> set[int]:
        workers = work.Workers()
        try:
            pids = set()
            for _ in range(2):
                await workers.ask("check", sheet="battery BAT 12 V\npath BAT.- -- body\n")
                pids |= set(workers._pool._processes)  # type: ignore[union-attr]
                for pid in pids:
                    os.kill(pid, signal.SIGINT)
            return pids
        finally:
            workers.stop()

    assert len(asyncio.run(asked())) == 1  # it lives on, and answers
