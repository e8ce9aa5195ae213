"""What somebody hostile, or somebody in a hurry, does to the pages."""

from __future__ import annotations

import re
from html import unescape
from typing import Any

import pytest
from driving import Served, begin, device, needs_browser, own, said
from fastapi.testclient import TestClient

from amptrail.jobs.starters import template
from amptrail.web import feeds, night, office, paper, people, practice, recording, routes, sheets

RELAY = template("relay-load").sheet
SPELL = "<img src=x onerror=alert(1)>\"'&"
NASTY = f"""vehicle "<script>alert(1)</script> {SPELL.replace('"', "")}"
place `{SPELL}` 2 min "<b>bold</b>"
phase `run<i>ning` as running 300 s
phase asleep 3600 s
battery BAT 12.6 V at `{SPELL}`
fuse `F<u>1` 10 A at `{SPELL}`
lamp `L&amp;"1` 12 V 21 W at `{SPELL}` "<marquee>"
switch `K<h1>` closed in `run<i>ning` at `{SPELL}`
path BAT.+ -- `F<u>1` -- [W1: RD 1 mm2 1 m] -- `K<h1>` -- `L&amp;"1` -- body
path BAT.- -- body
must `lit<em>`: `L&amp;"1`.in 9 V or more in `run<i>ning`
"""
PAGES = ("", "/circuit", "/feed", "/feed?restore=L%26amp%3B%221&purpose=home", "/ask", "/dead", "/night",
         "/sheet", "/recordings", "/papers")  # fmt: skip
OURS = re.compile(r"<(img|script|b|i|u|h1|em|marquee)[ >]", re.IGNORECASE)


def key_of(client: TestClient) -> str:
    return str(re.search(r'name="key" value="([^"]+)"', client.get("/new").text)[1])  # type: ignore[index]


def begun(client: TestClient, name: str, sheet: str = RELAY, **more: str) -> Any:
    told = {"name": name, "sheet": sheet, "key": key_of(client), **more}
    return client.post("/new", data=told, follow_redirects=False)


def lines(client: TestClient, name: str) -> list[str]:
    return [r["line"] for r in client.get(f"/api/jobs/{name}").json()["readings"]]


def test_markup_in_every_name_and_text_is_text_on_every_page(client: TestClient) -> None:
    got = begun(client, "nasty-1", NASTY, complaint=SPELL)
    assert got.status_code == 303, unescape(re.sub(r"<[^>]+>", " ", got.text))[:600]
    line = '`L&amp;"1` in `run<i>ning` is dark'
    entries = {"entries": [{"id": "n1", "line": line}]}
    assert not client.post("/api/jobs/nasty-1/entries", json=entries).json()["refused"]
    plain = begun(client, "plain-1")
    assert plain.status_code == 303
    for path in PAGES:
        page = client.get(f"/job/nasty-1{path}")
        assert page.status_code == 200, path
        usual = client.get(f"/job/plain-1{path.split('?')[0]}").text
        extra = set(OURS.findall(page.text)) - set(OURS.findall(usual))
        assert not extra - {"h1", "script"}, path  # each page has its own heading and scripts
        for raw in ("<img", "<script>", "<b>", "<i>", "<u>", "<em>", "<marquee>", "F<u>1"):
            assert raw not in page.text, path
        assert page.text.count("<h1") == usual.count("<h1"), path


@pytest.mark.parametrize("name", ["../etc", "a/b", ".hidden", "x" * 80, "a\nb", SPELL, "a?b", "%2e%2e"])
def test_no_name_leads_out(client: TestClient, name: str) -> None:
    got = begun(client, name)
    assert got.status_code == 422 and "<img" not in got.text


def test_a_job_that_is_there_keeps_its_sheet(client: TestClient) -> None:
    assert begun(client, "mine-1").status_code == 303
    got = begun(client, "mine-1", "battery BAT 12 V\npath BAT.- -- body\n")
    assert got.status_code == 422 and "already" in got.text
    assert "PUMP" in client.get("/job/mine-1/sheet").text


def test_without_a_name_a_job_gets_a_number(client: TestClient) -> None:
    first, second = (begun(client, "", template="relay-load").headers["location"] for _ in range(2))
    assert first == "/job/relay-load-1" and second == "/job/relay-load-2"


def test_a_sheet_put_right_keeps_what_was_read_and_is_refused_where_it_cannot(client: TestClient) -> None:
    begun(client, "wrong-1")
    client.post(
        "/api/jobs/wrong-1/entries", json={"entries": [{"id": "w1", "line": "X1.2.b in running meter 1 V"}]}
    )
    key = key_of(client)
    better = RELAY.replace("fuse F_LOAD 15 A", "fuse F_LOAD 20 A")
    got = client.post("/job/wrong-1/sheet", data={"sheet": better, "key": key}, follow_redirects=False)
    assert got.status_code == 303
    assert "20 A" in client.get("/job/wrong-1/sheet").text and lines(client, "wrong-1")
    for worse in ("battery BAT 12 V\npath BAT.- -- body\n", "battery BAT twelve\n", ""):
        got = client.post("/job/wrong-1/sheet", data={"sheet": worse, "key": key})
        assert got.status_code == 422 and 'role="alert"' in got.text
    page = client.get("/job/wrong-1/sheet").text
    assert "20 A" in page
    base = re.search(r'name="base" value="([^"]+)"', page)[1]  # type: ignore[index]
    mine, theirs = ({"sheet": better + f"# {w}\n", "base": base, "key": key} for w in ("mine", "theirs"))
    assert client.post("/job/wrong-1/sheet", data=theirs, follow_redirects=False).status_code == 303
    late = client.post("/job/wrong-1/sheet", data=mine)  # two at one sheet: the later one is told
    assert late.status_code == 422 and "changed meanwhile" in late.text and "# mine" in late.text
    assert client.post("/job/wrong-1/sheet", data={"sheet": RELAY, "key": "x"}).status_code == 403


def test_every_form_is_refused_without_the_key_of_our_pages(client: TestClient) -> None:
    begun(client, "keys-9")
    routers = (feeds, night, office, paper, people, practice, recording, routes, sheets)
    posts = [r for m in routers for r in m.router.routes if "POST" in getattr(r, "methods", ())]
    assert len(posts) > 8
    for r in posts:
        if r.path in ("/pair", "/practice"):
            continue
        path = r.path.replace("{name}", "keys-9").replace("{key}", "k")
        filled = {
            "line": "PUMP in running works",
            "name": "keys-9",
            "sheet": RELAY,
            "words": "x",
            "what": "note",
        }
        files = {"file": ("a.txt", b"x")} if "files" in path or path.endswith("recordings") else None
        got = client.post(path, data={**filled, "key": "forged"}, files=files, follow_redirects=False)
        assert got.status_code in (403, 422), (r.path, got.status_code)
    assert lines(client, "keys-9") == []


def test_odd_addresses_are_told_and_never_a_fault_of_the_program(client: TestClient) -> None:
    begun(client, "odd-1")
    for path in ("?at=nowhere", "?without=hammer", "?cannot=NO.1", "?since=x", "/circuit?phase=moon",
                 "/circuit?instrument=spoon", "/circuit?fault=PUMP%20is%20sad", "/circuit?point=%3Cb%3E",
                 "/feed?text=from%20nothing", "/feed?restore=NOBODY", "/feed?restore=PUMP&purpose=ever",
                 "/ask?who=%00", "/ask?unknown=" + "x" * 3000, "/dead?part=%F0%9F%92%A5",
                 "/night?celsius=1e999", "/night?ah=nan", "/night?ah=-5"):  # fmt: skip
        got = client.get(f"/job/odd-1{path}")
        assert got.status_code in (200, 404, 422), path
        assert "Traceback" not in got.text and "nan " not in got.text.lower(), path
        assert "internal" not in got.text and "fault of the program" not in got.text, path


@needs_browser
def test_the_server_dies_and_comes_back_under_a_job(browser: Any, served: Served) -> None:
    page = device(browser, 360, True)
    begin(page, served.address, "dies-1")
    own(page, "PUMP in running does not work")
    said(page, "PUMP in running does not work")
    served.stop()
    own(page, "K1 in running clicks")
    page.wait_for_function(
        "() => document.querySelector('#link-state').innerText.includes('kept on this phone')"
    )
    served.start()
    said(page, "K1 in running clicks")
    page.wait_for_function("() => document.querySelector('#link-state').hidden")
    told = page.evaluate("fetch('/api/jobs/dies-1').then(r => r.json())")
    assert [r["line"] for r in told["readings"]] == ["PUMP in running does not work", "K1 in running clicks"]
    assert page.wrong == []


@needs_browser
def test_a_reload_at_every_step_loses_nothing(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    page.goto(f"{address}/new?template=relay-load&door=part")
    page.fill("#name", "again-1")
    page.fill("#complaint", "it does not run")
    page.reload()
    assert page.input_value("#name") == "again-1" and page.input_value("#complaint") == "it does not run"
    page.click("text=Begin")
    page.wait_for_selector("live-job:defined")
    page.reload()
    for n in range(3):
        page.wait_for_selector("details.test[open]")
        test = page.locator("#visit-0 details.test[open]").first
        if test.locator(".words button").count():  # a lamp has figures too, for seconds, folded away
            test.locator(".words button").first.tap()
        else:
            test.locator('.pad button:text-is("1")').tap()
            test.locator(".unit").first.tap()
        page.wait_for_function("n => document.querySelectorAll('#said li').length === n", arg=n + 1)
        before = page.inner_text("#said")
        page.reload()
        page.wait_for_selector("live-job:defined")
        assert page.inner_text("#said") == before
    page.tap("text=can't do it >> nth=0")
    page.wait_for_function("() => location.search.includes('cannot=')")
    cannot = page.evaluate("new URLSearchParams(location.search).get('cannot')")
    page.goto(f"{address}/job/again-1/circuit")
    page.goto(f"{address}/job/again-1")  # away and back: what is out of reach stays so today
    page.wait_for_function("c => new URLSearchParams(location.search).get('cannot') === c", arg=cannot)
    page.wait_for_selector("text=some points out of reach")
    assert page.wrong == []
