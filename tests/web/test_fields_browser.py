"""A circuit entered with gloves: fields fill the sheet, the drawing follows, a reload loses nothing."""

from __future__ import annotations

from typing import Any

import pytest
from driving import device, needs_browser

pytestmark = needs_browser
SMALL = """() => [...document.querySelectorAll(
  'sheet-fields :is(input:not([type=checkbox]), select, summary, label.chip)')]
  .filter(e => e.offsetParent && e.getBoundingClientRect().height < 48).map(e => e.outerHTML.slice(0, 90))"""


@pytest.mark.parametrize(("width", "touch"), [(360, True), (1280, False)])
def test_a_field_fills_the_sheet_and_the_drawing_follows(
    browser: Any, address: str, width: int, touch: bool
) -> None:
    page = device(browser, width, touch)
    page.goto(f"{address}/new?template=relay-load&door=part")
    page.locator("details[data-of=F_LOAD] > summary").click()
    amps = page.locator("[data-part=F_LOAD][data-attribute=rating_a]")
    assert amps.input_value() == "15"
    page.wait_for_selector("img[src^='blob:']")  # the template itself is drawn
    with page.expect_response("**/api/draw") as drawn:  # without leaving the field
        amps.fill("20")
    assert ">20 A<" in drawn.value.json()["svg"]
    assert "fuse F_LOAD 20 A at front" in page.input_value("#sheet")
    amps.fill("2000")
    amps.blur()
    page.wait_for_selector("details[data-of=F_LOAD] .problem:has-text('Give a value from 0.1 to 500 A')")
    assert "fuse F_LOAD 20 A at front" in page.input_value("#sheet")  # a wrong figure changes nothing
    page.locator("details[data-of=KEY] > summary").click()
    page.locator("details[data-of=KEY] label:has-text('ignition-on')").click()
    page.wait_for_selector("details[data-of=KEY] .said:text-is('closed in running at dash')")
    page.locator("details[data-of=runs] > summary").click()
    page.locator("details[data-of='BAT.+>KEY.in'] > summary").click()
    page.locator("[data-part='BAT.+>KEY.in'][data-attribute=colour]").fill("RD")
    page.wait_for_selector("details[data-of='BAT.+>KEY.in'] .said:has-text('RD')")
    assert page.evaluate(SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.reload()
    page.wait_for_selector("details[data-of=F_LOAD] .said:text-is('20 A at front')", state="attached")
    name = f"gloves-{width}"
    page.fill("#name", name)
    page.click("text=Begin")
    page.wait_for_selector("live-job:defined")
    page.goto(f"{address}/job/{name}/sheet")
    kept = page.input_value("#sheet")
    assert "fuse F_LOAD 20 A" in kept and "KEY closed in running at dash" in kept
    assert "BAT.+ -- [2.5 mm2 1.5 m RD] -- KEY" in kept
    assert page.wrong == []


def test_text_typed_by_hand_renews_the_fields(browser: Any, address: str) -> None:
    page = device(browser, 1280, False)
    page.goto(f"{address}/new")
    page.fill("#sheet", "battery BAT 12 V\nfuse F 3 A\npath BAT.+ -- F -- body\npath BAT.- -- body\n")
    page.wait_for_selector("details[data-of=F] .said:text-is('3 A')")
    page.fill("#sheet", "battery BAT 12 V\nfuse F 3 X\n")
    page.wait_for_selector("sheet-fields .problem:has-text('Line 2')")
