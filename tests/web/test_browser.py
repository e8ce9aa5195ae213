"""The whole way on a phone in a real browser: template, job, answers, network gone and back, two devices,
keyboard."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from driving import begin, device, needs_browser, own, said, whole_page

pytestmark = needs_browser
SHOTS = Path(__file__).parents[2] / "build" / "screens"


def fits(page: Any, name: str) -> None:
    """No sideways scrolling, no target smaller than a finger, nothing said wrong."""
    SHOTS.mkdir(parents=True, exist_ok=True)
    whole_page(page, SHOTS / f"{name}.png")
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


def test_a_laptop_that_was_started_again_is_not_a_network_that_is_gone(browser: Any, address: str) -> None:
    page = device(browser, 360, touch=True)
    begin(page, address, "stranger-1")
    page.route("**/api/jobs/**", lambda r: r.fulfill(status=401, json={"detail": "pair this device first"}))
    own(page, "K1.87 in running meter 12.4 V")
    page.wait_for_selector("#link-state:has-text('does not know this phone any more')")
    assert "1 kept on this phone" in page.inner_text("#link-state")
    page.unroute("**/api/jobs/**")
    page.reload()
    said(page, "K1.87 in running meter 12.4 V")
    page.context.close()


def test_what_is_typed_outlives_a_laptop_that_is_away(browser: Any, address: str) -> None:
    page = device(browser, 360, touch=True)
    begin(page, address, "away-1")
    page.goto(f"{address}/job/away-1/papers")
    page.check("input[name=what][value=note]")
    page.fill("#told", "customer tows a trailer")
    page.route("**/static/style.css", lambda r: r.abort())
    page.click("form[action$=told] button")
    page.wait_for_selector("#link-state:has-text('what is typed stays here')")
    assert page.input_value("#told") == "customer tows a trailer"
    page.unroute("**/static/style.css")
    page.click("form[action$=told] button")
    page.wait_for_function("() => !document.querySelector('#told').value")
    page.context.close()


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


def test_the_other_visits_are_a_swipe_away_and_the_plan_moves_with_the_person(
    browser: Any, address: str
) -> None:
    page = device(browser, 360, True)
    begin(page, address, "swipe-1")
    own(page, "pump-runs in running does not work")
    said(page, "pump-runs in running does not work")
    at = page.evaluate(AT_VISIT)
    assert at == 0
    touch = page.context.new_cdp_session(page)
    box = page.locator("#visit-0 h2").bounding_box()
    y = box["y"] + 10
    touch.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": 320, "y": y}]})
    for x in range(300, 20, -20):
        touch.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [{"x": x, "y": y}]})
    touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    page.wait_for_function(f"() => ({AT_VISIT})() === 1")
    assert (
        page.locator("nav.others a[aria-current]").inner_text()
        == page.locator("nav.others a").nth(1).inner_text()
    )
    page.locator("nav.others a").first.tap()
    page.wait_for_function(f"() => ({AT_VISIT})() === 0")
    page.tap("details.here summary")
    page.tap("details.here .chip >> nth=1")
    page.wait_for_function("() => location.search.includes('at=')")
    assert "I am at" in page.inner_text("details.here summary")
    page.tap("details.here summary")
    page.tap("details.here .chip:text-is('meter')")
    page.wait_for_selector("live-job")
    assert "without meter" in page.inner_text("details.here summary")
    assert not [x for x in page.locator("details.test summary").all_inner_texts() if x.startswith("Meter on")]


AT_VISIT = (
    "() => { const d = document.querySelector('.deck'); return Math.round(d.scrollLeft / d.clientWidth); }"
)


def test_half_typed_figures_outlive_news_from_another_device(browser: Any, address: str) -> None:
    phone, laptop = device(browser, 360, True), device(browser, 1280, False)
    begin(phone, address, "typing-1")
    laptop.goto(f"{address}/job/typing-1")
    phone.evaluate("document.querySelector('#line').value = 'K1.87 in run'")
    own(laptop, "pump-runs in running does not work")
    said(laptop, "pump-runs in running does not work")
    phone.wait_for_function(
        "() => document.querySelector('#link-state').innerText.includes('another device')"
    )
    assert phone.input_value("#line") == "K1.87 in run"


def test_the_drawing_is_zoomed_by_two_fingers_and_by_buttons(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    page.goto(f"{address}/read/relay-load")
    page.wait_for_selector(".zoom button")
    wide = "document.querySelector('circuit-drawing svg').getBoundingClientRect().width"
    first = page.evaluate(wide)
    page.tap(".zoom button >> nth=0")
    assert page.evaluate(wide) > 1.3 * first
    page.tap(".zoom button >> nth=2")
    whole = page.evaluate(wide)
    assert whole <= page.evaluate("document.querySelector('circuit-drawing').clientWidth") + 1
    page.evaluate("document.querySelector('circuit-drawing').scrollIntoView({block: 'center'})")
    touch = page.context.new_cdp_session(page)

    def two(kind: str, apart: float) -> None:
        at = [{"x": 180 - apart, "y": 370, "id": 0}, {"x": 180 + apart, "y": 370, "id": 1}]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at if apart else []})

    two("touchStart", 30)
    for apart in (45, 60, 75, 90):
        two("touchMove", apart)
    two("touchEnd", 0)
    page.wait_for_function(f"() => {wide} > {whole} * 1.5")
    assert page.evaluate("window.visualViewport.scale") == 1  # the page itself stays as it is
    assert page.wrong == []


def test_a_point_of_the_drawing_takes_a_reading(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    begin(page, address, "point-1")
    page.goto(f"{address}/job/point-1/circuit?phase=running&point=K1.87")
    page.wait_for_selector("#enter:not([hidden])")
    for key in "12.4":
        page.tap(f'#enter .pad button:text-is("{key}")')
    page.tap('#enter button:text-is("V")')
    page.wait_for_function("() => document.querySelector('live-job').dataset.entries === '1'")
    told = page.evaluate("fetch('/api/jobs/point-1').then(r => r.json())")
    assert [r["line"] for r in told["readings"]] == ["K1.87 in running meter 12.4 V"]


def test_practice_from_the_first_page_to_the_better_choice(browser: Any, address: str) -> None:
    page = device(browser, 360, True)
    page.goto(address)
    page.tap("text=Practice on a hidden fault")
    page.fill("#seed", "5")
    page.tap("text=Relay-fed load")
    page.wait_for_selector("#point")
    fits(page, "practice-360")
    page.locator('circuit-drawing [data-point="K1.87"]').first.dispatch_event("click", {"bubbles": True})
    page.fill("#point", "K1.87")
    page.tap("text=Read it")
    page.wait_for_selector("#said li")
    assert "K1.87 in" in page.inner_text("#said")
    page.tap("text=Give up")
    page.wait_for_selector("text=The better choice each time")
    fits(page, "practice-end-360")
