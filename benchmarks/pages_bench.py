"""The pages on a phone at 60 parts: the first page, a tap until it is shown, a tap until the next test.

    python -m benchmarks.pages_bench [--taps N]

Headless Chromium as a phone of 360 px against `amptrail serve` here, a generated vehicle of 60 parts, warm.
First page: from the navigation until the page has loaded and its scripts run. Tap: from the tap of the last
key until the page shows that the reading is kept. Next: until the new plan stands there. State, feed: from
the tap on the circuit screen until the drawing and its table show that choice. Beside them, in the same
run, a page that needs no answer at all (the pairing page): what browser and machine take by themselves.
Medians; figures to reach: first page < 1 s, tap < 0.2 s (DESIGN section 12).
"""

from __future__ import annotations

import argparse
import statistics
import sys
from collections.abc import Sequence
from typing import Any

from benchmarks.generator import sheet_text
from benchmarks.hidden_faults import TEST, Phone, phone_page, served

LOADS, TAPS = 5, 6
CLOCK = """() => {
  window.clock = {};
  document.addEventListener("click", (e) => {
    if (!e.target.closest("button")) return;
    const begun = performance.now(), entries = document.querySelector("live-job").dataset.entries;
    window.clock = {};
    const look = () => {
      const said = !document.querySelector("#link-state").hidden;
      if (said && !window.clock.kept) window.clock.kept = performance.now() - begun;
      const now = document.querySelector("live-job").dataset.entries;
      if (now !== entries) window.clock.next = performance.now() - begun; else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  }, true);
}"""
CHOICE = """() => {
  const told = () => document.querySelector("table.readings caption").textContent;
  document.addEventListener("submit", () => {
    const begun = performance.now(), old = told();
    window.chosen = 0;
    const look = () => {
      if (told() !== old) window.chosen = performance.now() - begun; else requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
  }, true);
}"""


def loaded_s(page: Any, address: str) -> float:
    """Seconds from the navigation to the load event, by the browser's own clock."""
    page.goto(address)
    return float(page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd")) / 1000


def answered(page: Any) -> tuple[float, float] | None:
    """Seconds of one answer: until it is shown as kept, until the next plan. None: nothing left to answer."""
    phone = Phone(page)
    buttons = phone.buttons(TEST)
    if not buttons:
        return None
    if "V" in buttons or "A" in buttons:
        for k in ("1", "2"):
            phone.tap(k, TEST)
    phone.tap("V" if "V" in buttons else "A" if "A" in buttons else buttons[0], TEST)
    page.wait_for_function("() => window.clock.next")
    got = page.evaluate("window.clock")
    return got.get("kept", got["next"]) / 1000, got["next"] / 1000


def chosen(page: Any, address: str) -> dict[str, list[float]]:
    """Seconds of a choice on the circuit screen until it is shown: a state of the vehicle, a feed."""
    page.goto(f"{address}/job/bench/circuit")
    page.evaluate(CHOICE)
    page.evaluate("document.querySelector('details.choose').open = true")
    rows = "[...document.querySelectorAll('tr[data-line]:not([hidden])')]"
    ends = page.evaluate(f"{rows}.map(r => r.dataset.written || r.dataset.point)")
    found: dict[str, list[float]] = {"state": [], "feed": []}

    def shown(what: str, button: str) -> None:
        page.evaluate("b => document.querySelector(b).click()", button)
        page.wait_for_function("() => window.chosen")
        found[what].append(page.evaluate("window.chosen") / 1000)

    for _ in range(LOADS):
        for _ in range(2):
            shown("state", "button[name=phase]:not(.on)")
        page.fill("#feed", f"from {ends[0]} to {ends[len(ends) // 2]} fuse 10 A")
        shown("feed", "form:has(#feed) button")
        shown("feed", "button[name=feed][value='']")
    return found


def measured(taps: int) -> dict[str, float]:
    """Medians in seconds by name."""
    found: dict[str, list[float]] = {
        "nothing asked": [],
        "first page": [],
        "doors": [],
        "tap": [],
        "next": [],
    }
    with served() as address, phone_page() as page:
        page.goto(f"{address}/new")
        page.fill("#name", "bench")
        page.fill("#sheet", sheet_text(60, 1))
        page.click("text=Begin")
        page.wait_for_selector("live-job")
        for _ in range(LOADS):
            found["nothing asked"].append(loaded_s(page, f"{address}/pair"))
            found["doors"].append(loaded_s(page, address))
            found["first page"].append(loaded_s(page, f"{address}/job/bench"))
        page.evaluate(CLOCK)
        for _ in range(taps):
            took = answered(page)
            if took is None:
                break
            found["tap"].append(took[0])
            found["next"].append(took[1])
            page.wait_for_function("() => document.querySelector('#link-state').hidden")
        found |= chosen(page, address)
    return {k: statistics.median(v) for k, v in found.items() if v}


def main(argv: Sequence[str]) -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="the pages on a phone at 60 parts")
    parser.add_argument("--taps", type=int, default=TAPS)
    got = measured(parser.parse_args(argv).taps)
    bare = got["nothing asked"]
    for name, most in (
        ("nothing asked", None),
        ("doors", 1.0),
        ("first page", 1.0),
        ("tap", 0.2),
        ("next", None),
        ("state", 0.2),
        ("feed", 0.2),
    ):
        if name in got:
            goal = "" if most is None else f"  to reach {most:g} s: {'yes' if got[name] < most else 'NO'}"
            print(f"{name:14} {got[name]:7.3f} s  {got[name] / bare:6.1f} x a page that asks nothing{goal}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
