"""A recording under real fingers: pinch, drag, wheel, keys and buttons in a browser, under the strict policy.

What is asked: the instant under a finger stays under it, and nothing from the server moves the stretch.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from typing import Any

import pytest
from driving import device, needs_browser
from test_recording import SHEET, drive

pytestmark = needs_browser
JOB = "scope-2"


@pytest.fixture(scope="module")
def page(address: str, browser: Any) -> Iterator[Any]:
    """A phone whose job has a recording, brought through the page itself."""
    phone = device(browser, 390, touch=True)
    phone.goto(f"{address}/new")
    phone.fill("[name=name]", JOB)
    phone.fill("[name=sheet]", SHEET)
    phone.locator("form[action='/new'] button[type=submit]").first.click()
    phone.wait_for_url(f"**/job/{JOB}*")
    phone.goto(f"{address}/job/{JOB}/recordings")
    phone.set_input_files("#file", {"name": "was.csv", "mimeType": "text/csv", "buffer": drive(low=7.1)})
    phone.click("text=Bring it")
    phone.wait_for_url(f"**/job/{JOB}/recording/*")
    phone.wait_for_selector("scope-recording[data-drawn]")
    yield phone
    assert phone.wrong == []


def stretch(page: Any) -> tuple[float, float]:
    return tuple(page.evaluate("(s => [s.begin, s.end])(document.querySelector('scope-recording').scope)"))


def act(page: Any, what: str) -> None:
    """Do something to the picture and wait until its slices are drawn."""
    before = page.get_attribute("scope-recording", "data-drawn")
    page.evaluate(f"(s => {{ {what}; }})(document.querySelector('scope-recording').scope)")
    until(page, f"document.querySelector('scope-recording').dataset.drawn !== '{before}'")


def whole(page: Any) -> None:
    act(page, "s.cursor = null; s.act('whole')")


def until(page: Any, what: str) -> None:
    """Asked from here again and again: the page's policy lets nothing be compiled in it."""
    for _ in range(400):
        if page.evaluate(what):
            return
        page.wait_for_timeout(25)
    raise AssertionError(what)


def field(page: Any) -> dict[str, float]:
    page.evaluate("document.querySelector('.scope').scrollIntoView({block: 'center'})")
    return dict(page.locator(".scope canvas").bounding_box())


def touch(client: Any, kind: str, *points: tuple[float, float]) -> None:
    at = [{"x": x, "y": y, "id": n} for n, (x, y) in enumerate(points)]
    client.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})


def test_a_pinch_keeps_the_instants_under_the_fingers(page: Any) -> None:
    whole(page)
    box = field(page)
    begin, end = stretch(page)
    left = begin + (end - begin) * 150 / box["width"]
    client = page.context.new_cdp_session(page)
    y = box["y"] + 100
    a, b = box["x"] + 150, box["x"] + 210
    right = begin + (end - begin) * 210 / box["width"]
    touch(client, "touchStart", (a, y), (b, y))
    for k in range(1, 11):
        touch(client, "touchMove", (a - 10 * k, y), (b + 10 * k, y))
    now = stretch(page)
    per = (now[1] - now[0]) / box["width"]
    # within two pixels of where the fingers are now
    assert now[0] + per * 50 == pytest.approx(left, abs=2 * per + 1e-9)
    assert now[0] + per * 310 == pytest.approx(right, abs=2 * per + 1e-9)
    # what the server sends while the fingers lie still moves nothing
    time.sleep(0.5)
    assert stretch(page) == now
    touch(client, "touchEnd")
    settled_or_not = stretch(page)
    assert settled_or_not == now


def test_zooming_goes_on_while_the_server_is_slow(page: Any, browser: Any) -> None:
    """Six notches of a wheel on the laptop, answers late: the stretch is what the wheel made of it."""
    phone, page = page, device(browser, 1100, touch=False)
    page.goto(phone.url.split("?")[0])
    page.wait_for_selector("scope-recording[data-drawn]")
    whole(page)
    box = field(page)
    page.route("**/slices?*", lambda route: (page.wait_for_timeout(300), route.continue_()))
    page.mouse.move(box["x"] + 200, box["y"] + 60)
    begin, end = stretch(page)
    about = begin + (end - begin) * 200 / box["width"]
    page.evaluate(
        "window.turned = 0; document.querySelector('.scope').addEventListener('wheel', "
        "e => { window.turned += e.deltaY; })"
    )
    for _ in range(6):
        page.mouse.wheel(0, -120)
    until(page, f"document.querySelector('scope-recording').scope.wide < {(end - begin) * 0.5}")
    page.wait_for_timeout(300)
    now = stretch(page)
    turned = page.evaluate("window.turned")  # no notch was lost, none was taken back
    assert now[1] - now[0] == pytest.approx((end - begin) * math.exp(0.0025 * turned), rel=1e-6)
    assert now[0] + (now[1] - now[0]) * 200 / box["width"] == pytest.approx(about, abs=1e-6)
    page.wait_for_timeout(800)
    assert stretch(page) == now
    page.unroute_all(behavior="ignoreErrors")
    page.close()
    assert page.wrong == []


def test_a_finger_drags_and_a_tap_tells(page: Any) -> None:
    whole(page)
    box = field(page)
    client = page.context.new_cdp_session(page)
    begin, end = stretch(page)
    y = box["y"] + 60
    touch(client, "touchStart", (box["x"] + 250, y))
    for k in range(1, 6):
        touch(client, "touchMove", (box["x"] + 250 - 20 * k, y + 1))
    touch(client, "touchEnd")
    now = stretch(page)
    assert now[0] - begin == pytest.approx((end - begin) * 100 / box["width"], rel=0.02)
    assert now[1] - now[0] == pytest.approx(end - begin)
    whole(page)
    x = box["width"] * 9.006 / 20  # the contact is away there
    touch(client, "touchStart", (box["x"] + x, y))
    touch(client, "touchEnd")
    said = page.inner_text(".where")
    assert "K4.87" in said and "BAT.+" in said
    assert "event:" in said and "12.0 ms" in said


def test_keys_and_buttons_do_the_same(page: Any) -> None:
    whole(page)
    begin, end = stretch(page)
    page.focus(".scope")
    page.keyboard.press("+")
    page.keyboard.press("ArrowRight")
    now = stretch(page)
    assert now == pytest.approx((begin + (end - begin) * 0.5, begin + (end - begin) * 1.0))
    page.keyboard.press("Home")
    page.keyboard.press("n")
    assert "event:" in page.inner_text(".where")
    first = stretch(page)
    page.click("[data-do=next]")
    assert stretch(page)[0] > first[0]
    for b in page.locator(".tools .chip").all():
        size = b.bounding_box()
        assert size["width"] >= 48 and size["height"] >= 48
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth + 1")


def test_the_drop_out_is_seen_when_zoomed_to(page: Any) -> None:
    """Pixels of the trace: 12 ms fill their share of 40 ms at the bottom of the row."""
    act(page, "s.show(8.99, 9.03)")
    share = page.evaluate(
        """() => { const c = document.querySelector('.scope canvas'), s = c.width / c.clientWidth;
        const top = Math.round((22 + 2 * 106 + 80) * s), tall = Math.round(14 * s);
        const d = c.getContext('2d').getImageData(0, top, c.width, tall).data;
        let inked = 0;
        for (let x = 0; x < c.width; x++) {
          let hit = false;
          for (let y = 0; y < tall; y++) {
            const k = 4 * (y * c.width + x);
            hit ||= d[k + 3] > 128 && d[k + 2] > d[k] + 40;
          }
          inked += hit;
        }
        return inked / c.width; }"""
    )
    assert share == pytest.approx(0.012 / 0.04, abs=0.05)


def test_a_reload_shows_the_same_stretch(page: Any) -> None:
    act(page, "s.show(2.5, 4.5)")
    page.reload()
    page.wait_for_selector("scope-recording[data-drawn]")
    assert stretch(page) == pytest.approx((2.5, 4.5), abs=1e-6)
    assert page.input_value("form.stretched [name=begin]").startswith("2.5")
