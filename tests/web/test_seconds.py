"""A time is a reading where a light was lit, with its own keys; elsewhere it is refused in words."""

from __future__ import annotations

from typing import Any

from driving import begin, device, needs_browser, own, said
from fastapi.testclient import TestClient
from test_pages import begin as begun

from amptrail.web.views import times


def test_a_time_by_forms_alone(client: TestClient) -> None:
    key = begun(client, "times-1")
    line = "K1.87 in asleep lamp {value}"
    for (_, unit), want in zip(times("lamp"), ("lit 12 s then dark", "lit > 12 s"), strict=True):
        page = client.post("/job/times-1/add", data={"line": line, "value": "12", "unit": unit, "key": key})
        assert f"K1.87 in asleep lamp {want}".replace(">", "&gt;") in page.text
    wrong = client.post("/job/times-1/add", data={"line": "K1.87 in asleep meter 12 s", "key": key})
    assert wrong.status_code == 422 and "a time is told of a light" in wrong.text.lower()
    assert not times("meter")
    assert "It was lit for a time" in client.get("/job/times-1/circuit?instrument=lamp").text
    assert "It was lit for a time" not in client.get("/job/times-1/circuit?instrument=meter").text


@needs_browser
def test_the_s_key(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    begin(page, address, "times-2")
    page.goto(f"{address}/job/times-2/circuit?phase=asleep&instrument=lamp&point=K1.87")
    page.wait_for_selector("#enter:not([hidden])")
    page.tap("text=It was lit for a time")
    for key in "12":
        page.tap(f'#enter .pad button:text-is("{key}")')
    page.tap('#enter button:text-is("s, then dark")')
    page.wait_for_function("() => document.querySelector('live-job').dataset.entries === '1'")
    page.goto(f"{address}/job/times-2")
    said(page, "K1.87 in asleep lamp lit 12 s then dark")
    own(page, "K1.30 in asleep meter 12 s")
    page.wait_for_selector("#link-state:has-text('time is told of a light')")
    assert page.input_value("#line") == "K1.30 in asleep meter 12 s"  # to be put right, not typed again
    page.fill("#line", "K1.30 in asleep lamp lit 70")
    page.tap('unit-keys button:text-is("s")')
    assert page.input_value("#line").strip() == "K1.30 in asleep lamp lit 70 s then dark"
    page.fill("#line", "K1.30 in asleep meter 12.5")
    page.tap('unit-keys button:text-is("mV")')
    page.click(".own button:text-is('Add')")
    said(page, "K1.30 in asleep meter 12.5 mV")
    assert page.wrong == []
