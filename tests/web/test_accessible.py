"""Every page by the rules of axe-core (WCAG 2.0 and 2.1, A and AA, as its own tags say), light and dark."""

from __future__ import annotations

from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from driving import begin, device, needs_browser, own, said

pytestmark = needs_browser
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"], "resultTypes": ["violations"]}
PAGES = ("/", "/new?template=relay-load", "/read/relay-load", "/practice", "/job/axe-1", "/job/axe-1/circuit",
         "/job/axe-1/feed", "/job/axe-1/recordings", "/job/axe-1/papers", "/job/axe-1/ask",
         "/job/axe-1/dead?part=PUMP", "/job/axe-1/night", "/job/nobody", "/pair", "/who",
         "/api/docs")  # fmt: skip


@pytest.fixture(scope="module")
def phone(browser: Any, address: str) -> Any:
    page = device(browser, 360, True)
    begin(page, address, "axe-1")
    own(page, "PUMP in running does not work")
    said(page, "PUMP in running does not work")
    return page


@pytest.mark.parametrize("path", PAGES)
def test_no_serious_violation(phone: Any, address: str, path: str) -> None:
    phone.goto(address + path)
    for scheme in ("light", "dark"):
        phone.emulate_media(color_scheme=scheme)
        found = Axe().run(phone, options=RULES).response["violations"]
        bad = [(v["id"], v["help"], [n["html"][:120] for n in v["nodes"][:3]])
               for v in found if v["impact"] in ("serious", "critical")]  # fmt: skip
        assert bad == [], scheme
    assert phone.title()
