"""The circuit screen: state, supposed fault and feed are answered where the drawing stands."""

from __future__ import annotations

from typing import Any

import pytest
from driving import device, needs_browser

from amptrail.jobs.starters import template

pytestmark = needs_browser
FED = template("relay-load").sheet + 'feed J1 "past the relay": from F_LOAD.out to X1.1.a wire 2.5 mm2 1 m\n'
READS = "() => document.querySelector('tr[data-point=\"X1.1.b\"] td').textContent"
STATE = """() => [window.here, document.querySelector('circuit-drawing').scale,
  getComputedStyle(document.querySelector('circuit-drawing svg .hit')).fill]"""


@pytest.mark.parametrize(("width", "touch"), [(360, True), (1280, False)])
def test_each_choice_is_answered_where_the_drawing_stands(
    browser: Any, address: str, width: int, touch: bool
) -> None:
    page = device(browser, width, touch)
    name = f"choices-{width}"
    page.goto(f"{address}/new")
    page.fill("#name", name)
    page.fill("#sheet", FED)
    page.click("text=Begin")
    page.wait_for_selector("live-job:defined")
    page.goto(f"{address}/job/{name}/circuit?phase=running")
    page.evaluate("window.here = 1")  # gone with any page load
    page.click(".zoom button >> nth=0")
    page.click("details.choose > summary")
    before = page.evaluate(STATE)
    assert page.evaluate(READS).startswith("1")
    page.fill("#fault", "K1 stuck off")
    page.click("form:has(#fault) >> text=Show")
    page.wait_for_selector("caption:has-text('with K1 stuck off')")
    assert page.evaluate(READS).startswith("about 0")
    page.click("button[name=feed]:has-text('past the relay')")
    page.wait_for_selector("caption:has-text('with the feed J1')")
    assert page.evaluate(READS).startswith("1")
    page.fill("#feed", "from F_LOAD.out to NO.1")
    page.click("form:has(#feed) >> text=Show")
    page.wait_for_selector("#link-state:has-text('NO')")  # refused in words, the drawing stays
    page.fill("#feed", "from F_LOAD.out to X1.1.a fuse 10 A")
    page.click("form:has(#feed) >> text=Show")
    page.wait_for_selector("button[name=feed][aria-pressed=true]:has-text('fuse 10 A')")
    for point, end in (("F_LOAD.out", "from"), ("PUMP.in", "to")):  # tapped together, with a fuse in it
        page.evaluate("p => document.querySelector('circuit-drawing').tell(p)", point)
        page.click(f"[data-end={end}]")
    page.wait_for_selector("caption:has-text('with the feed from F_LOAD.out to PUMP.in fuse 10 A')")
    assert page.locator("a:has-text('May I bridge this?')").count() == 1
    page.click("button[name=phase]:has-text('asleep')")
    page.wait_for_selector("caption:has-text('asleep')")
    assert page.evaluate(STATE) == before  # no page load, the zoom as it was, the styles of the drawing
    assert "feed=from" in page.url and "phase=asleep" in page.url
    page.go_back()
    page.wait_for_selector("caption:has-text('running')")
    assert page.evaluate("window.here") == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.wrong == []
