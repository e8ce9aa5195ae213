"""On the phone, may it be called dead, flat by morning: the same use cases as the command line, as pages."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from driving import begin, device, needs_browser, said
from fastapi.testclient import TestClient

from amptrail.jobs import starters
from amptrail.jobs.judging.intake import intake
from amptrail.jobs.judging.proofsheet import condemn
from amptrail.jobs.night.drain import drain

DEMOS = Path(__file__).parents[2] / "demos"
CAMPER = (DEMOS / "camper.sheet").read_text(encoding="utf-8")
RELAY = starters.template("relay-load").sheet


def begun(client: TestClient, name: str, sheet: str, *lines: str, door: str = "part") -> tuple[str, str]:
    """Make a job; the key of its forms, and where the door led."""
    key = re.search(r'name="key" value="([^"]+)"', client.get("/new").text)[1]  # type: ignore[index]
    got = client.post(
        "/new", data={"name": name, "sheet": sheet, "key": key, "door": door}, follow_redirects=False
    )
    assert got.status_code == 303
    entries = [{"id": f"{name}-{k}", "line": x} for k, x in enumerate(lines)]
    if entries:
        told = client.post(f"/api/jobs/{name}/entries", json={"entries": entries}).json()
        assert not told["refused"]
    return key, str(got.headers["location"])


def readings(client: TestClient, name: str) -> list[str]:
    return [r["line"] for r in client.get(f"/api/jobs/{name}").json()["readings"]]


def test_questions_are_those_of_intake_and_an_answer_is_its_line(client: TestClient) -> None:
    key, _ = begun(client, "call-1", RELAY)
    first = intake(RELAY, "")["questions"][0]
    page = client.get("/job/call-1/ask").text
    assert first["ask"] in page
    answer = first["answers"][1]
    got = client.post("/job/call-1/add", data={"line": answer["line"], "key": key, "back": "ask"})
    assert got.url.path == "/job/call-1/ask"
    assert readings(client, "call-1") == [answer["line"]]
    assert first["ask"] not in got.text  # it is not asked twice


def test_what_nobody_knows_is_not_asked_again_until_wanted(client: TestClient) -> None:
    begun(client, "call-2", RELAY)
    first = intake(RELAY, "")["questions"][0]["ask"]
    page = client.get("/job/call-2/ask", params={"unknown": first}).text
    asked = re.findall(r"<summary>(.+?)</summary>", page)
    assert asked and first not in asked
    assert "ask again what nobody knew" in page
    assert readings(client, "call-2") == []


def test_what_was_worked_on_is_told_with_its_words_or_without(client: TestClient) -> None:
    key, _ = begun(client, "call-3", RELAY)
    page = client.get("/job/call-3/ask").text
    line = 'worked on K1 "{value}"'
    assert "worked on K1" in page
    client.post("/job/call-3/add", data={"line": line, "value": 'new "pump", June 2,5 h', "key": key})
    client.post("/job/call-3/add", data={"line": line.replace("K1", "X1"), "value": "", "key": key})
    assert readings(client, "call-3") == ["worked on K1 \"new 'pump', June 2,5 h\"", "worked on X1"]


@pytest.mark.parametrize("part", ["PUMP", "K1"])
def test_a_part_sheet_shows_every_demand_with_its_state(client: TestClient, part: str) -> None:
    lines = ("pump-runs in running does not work", "X1.1.b in ignition-on loaded 12.4 V")
    name = f"dead-{part}"
    begun(client, name, RELAY, *lines)
    page = client.get(f"/job/{name}/dead", params={"part": part}).text
    got = condemn(RELAY, "\n".join(lines) + "\n", part)
    assert f"{part}: NOT PROVEN" in page
    for x in got["lines"]:
        word = {"shown": "✓ Shown", "missing": "☐ Missing", "not so": "✗ Not so"}[x["state"]]
        assert f"{word}: {x['words']}" in page
        for t in x["tests"]:
            assert t["line"].split("\n")[0] in page


def test_an_unknown_part_and_an_unknown_person_are_told(client: TestClient) -> None:
    begun(client, "dead-2", RELAY)
    got = client.get("/job/dead-2/dead", params={"part": "PUMPE<b>"})
    assert got.status_code == 422 and "PUMP" in got.text and "<b>" not in got.text
    assert client.get("/job/dead-2/ask", params={"who": "nobody"}).status_code == 422
    assert client.get("/job/dead-2/night", params={"ah": "many"}).status_code == 422
    assert client.get("/job/dead-2/night", params={"ah": "99999"}).status_code == 422
    assert client.get("/job/none-such/night").status_code == 404


def test_flat_leads_to_the_night_and_the_whole_box_is_kept_at_once(client: TestClient) -> None:
    key, where = begun(client, "night-1", CAMPER, door="flat")
    assert where == "/job/night-1/night"
    page = client.get("/job/night-1/night").text
    rows = drain(CAMPER, "")["fuses"]
    fields = {f"{r['fuse']} in asleep fuse-drop {{value}} mV": "" for r in rows}
    assert all(f'name="{f}"' in page for f in fields)
    box = {
        **fields,
        "F_BCM in asleep fuse-drop {value} mV": "1,0",
        "F_RAD in asleep fuse-drop {value} mV": "2.3",
    }
    once = re.search(r'name="entry" value="([^"]+)"', page)
    assert once
    box["entry"] = once[1]
    client.post("/job/night-1/adds", data={**box, "key": key, "back": "night"})
    got = client.post(
        "/job/night-1/adds", data={**box, "key": key, "back": "night"}
    )  # a finger that trembles
    assert got.url.path == "/job/night-1/night"
    told = ["F_BCM in asleep fuse-drop 1.0 mV", "F_RAD in asleep fuse-drop 2.3 mV"]
    assert readings(client, "night-1") == told
    flat = drain(CAMPER, "\n".join(told) + "\n")
    assert "TOO MUCH" in got.text and f"{flat['flows_a'] * 1000:.0f} mA" in got.text
    assert client.post("/job/night-1/adds", data={**box, "key": "forged"}).status_code == 403
    half = {"F_BCM in asleep fuse-drop {value} mV": "4.0", "F_RAD in asleep fuse-drop {value} mV": "x"}
    assert client.post("/job/night-1/adds", data={**half, "key": key}).status_code == 422
    assert readings(client, "night-1") == told  # all of them, or none


def test_a_sheet_that_never_sleeps_says_what_to_add(client: TestClient) -> None:
    begun(client, "night-2", "battery BAT 12 V\nphase running 10 s\nfuse F1 10 A\nlamp L 12 V 5 W\n"
                             "path BAT.+ -- F1 -- L -- body\npath BAT.- -- body\n")  # fmt: skip
    got = client.get("/job/night-2/night")
    assert got.status_code == 422 and "Add a line such as: phase asleep" in got.text
    assert 'href="/job/night-2"' in got.text


@needs_browser
def test_the_three_on_a_phone(browser: Any, address: str) -> None:
    from test_browser import fits

    page = device(browser, 360, True)
    page.goto(f"{address}/new?door=flat")
    page.fill("#name", "night-9")
    page.fill("#sheet", CAMPER)
    page.click("text=Begin")
    page.wait_for_selector("live-job:defined")
    fits(page, "night-360")
    page.fill('[name^="F_BCM in"]', "1.0")
    page.fill('[name^="F_RAD in"]', "2.x")
    page.tap("text=Keep these")
    page.wait_for_selector("text=2.x is no number")
    page.fill('[name^="F_RAD in"]', "2,3")
    page.context.set_offline(True)
    page.tap("text=Keep these")
    page.wait_for_function("() => document.querySelectorAll('#waiting li').length === 2")
    page.context.set_offline(False)
    said(page, "F_RAD in asleep fuse-drop 2.3 mV")
    assert page.wrong == []
    begin(page, address, "ask-9")
    page.tap("text=Still on the phone?")
    page.wait_for_selector("h1:text('Ask on the phone')")
    page.wait_for_selector("live-job:defined")
    fits(page, "ask-360")
    first = page.inner_text("details[open] summary")
    page.tap("details[open] .words button >> nth=0")
    page.wait_for_function("q => document.querySelector('details[open] summary').innerText !== q", arg=first)
    page.goto(f"{address}/job/ask-9/dead?part=PUMP")
    page.wait_for_selector("live-job:defined")
    fits(page, "dead-360")
    before = page.inner_text("main")
    answer = page.locator("details.test[open]").first
    if answer.locator(".pad").count():
        answer.locator('.pad button:text-is("1")').tap()
        answer.locator(".unit").first.tap()
    else:
        answer.locator(".words button").first.tap()
    page.wait_for_function("b => document.querySelector('main').innerText !== b", arg=before)
    assert "part=PUMP" in page.url
    assert page.wrong == []
