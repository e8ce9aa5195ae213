"""The whole way on a phone in a real browser: template, job, answers, network gone and back, two devices,
keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from driving import begin, device, needs_browser, own, said

pytestmark = needs_browser
SHOTS = Path(__file__).parents[2] / "build" / "screens"


def fits(page: Any, name: str) -> None:
    """No sideways scrolling, no target smaller than a finger, nothing said wrong."""
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=str(SHOTS / f"{name}.png"), full_page=True)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1"), name
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, .chip, header a, .door, select, summary, input")]
        .filter(e => e.type !== "hidden")
        .filter(e => e.offsetParent && !["checkbox", "radio"].includes(e.type))
        .filter(e => e.getBoundingClientRect().height < 47.5).map(e => e.outerHTML.slice(0, 80))"""
    )
    assert small == [], name
    assert page.wrong == [], name


def test_three_taps_to_a_reading(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    page.goto(address)
    fits(page, "doors-360")
    page.tap("text=What should I read here? >> nth=0")
    page.tap("text=Relay-fed load")
    page.wait_for_selector("circuit-drawing svg")
    fits(page, "circuit-360")
    row = page.locator('tr[data-point="K1.87"] td')
    assert "V" in row.inner_text()
    page.locator('circuit-drawing [data-point="K1.87"]').first.dispatch_event("click", {"bubbles": True})


def test_network_gone_and_back_loses_nothing(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    begin(page, address, "cut-1")
    fits(page, "visit-360")
    own(page, "PUMP in running does not work")
    said(page, "PUMP in running does not work")
    page.context.set_offline(True)
    own(page, "K1 in running clicks")
    page.wait_for_selector("#link-state:not([hidden])")
    page.wait_for_function(
        "() => document.querySelector('#link-state').innerText.includes('kept on this phone')"
    )
    own(page, "K1.87 in running meter 0.1 V")
    fits(page, "offline-360")
    page.context.set_offline(False)
    said(page, "K1.87 in running meter 0.1 V")
    told = page.evaluate("fetch('/api/jobs/cut-1').then(r => r.json())")
    assert [r["line"] for r in told["readings"]] == [
        "PUMP in running does not work", "K1 in running clicks", "K1.87 in running meter 0.1 V",
    ]  # fmt: skip
    page.reload()
    said(page, "K1.87 in running meter 0.1 V")


def test_answers_by_tapping(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    begin(page, address, "tap-1")
    page.wait_for_selector("details.test[open]")
    first = page.locator("details.test[open]").first
    if first.locator(".pad").count():
        for key in "11.9":
            first.locator(f'.pad button:text-is("{key}")').tap()
        first.locator(".unit").first.tap()
    else:
        first.locator(".words button").first.tap()
    page.wait_for_function("() => document.querySelectorAll('#said li').length === 1")
    page.click("#said button")
    page.wait_for_function("() => document.querySelectorAll('#said li').length === 0")
    fits(page, "undone-360")


def test_two_devices_agree(browser: Any, address: str) -> None:
    phone, laptop = device(browser, 360, True), device(browser, 1280, False)
    begin(phone, address, "two-1")
    laptop.goto(f"{address}/job/two-1")
    own(laptop, "PUMP in running does not work")
    said(phone, "PUMP in running does not work")
    own(phone, "K1 in running clicks")
    said(laptop, "K1 in running clicks")
    fits(laptop, "visit-1280")


def test_by_keyboard_alone(browser: Any, address: str) -> None:
    page = device(browser, 1280, False)
    begin(page, address, "keys-1")
    page.focus("#line")
    page.keyboard.type("PUMP in running does not work")
    page.keyboard.press("Enter")
    said(page, "PUMP in running does not work")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement !== document.body")
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert outline != "0px"


def test_tablet_and_dark(browser: Any, address: str) -> None:
    page = device(browser, 768, True)
    page.emulate_media(color_scheme="dark")
    begin(page, address, "dark-1")
    fits(page, "visit-768-dark")
    page.goto(f"{address}/job/dark-1/feed")
    fits(page, "feed-768-dark")
    page.goto(f"{address}/job/dark-1/circuit?phase=running")
    page.wait_for_selector("circuit-drawing svg")
    fits(page, "circuit-768-dark")
