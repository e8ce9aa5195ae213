"""A real browser and the pages in a process of their own, for the tests that drive them."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


class Served:
    """The pages in a process of their own, on one port and one log, stopped and started at will."""

    def __init__(self, home: Path, *more: str) -> None:
        with socket.socket() as s:
            s.bind(("127.0.0.1", 0))
            self.port = int(s.getsockname()[1])
        self.home, self.more = home, more
        self.address = f"{'https' if '--tls' in more else 'http'}://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        run = "from amptrail.cli.main import run; run()"
        self.process = subprocess.Popen(
            [sys.executable, "-c", run, "serve", "--port", str(self.port), *self.more],
            env={**os.environ, "AMPTRAIL_HOME": str(self.home)},
            stderr=subprocess.DEVNULL,
        )
        for _ in range(300):
            with socket.socket() as s:
                if s.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.1)
        raise AssertionError("the pages did not start")

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(20)


def launched(p: Any, *more: str) -> Any:
    return p.chromium.launch(executable_path=CHROMIUM, chromium_sandbox=False, args=[*FLAGS, *more])


def device(browser: Any, width: int, touch: bool, height: int = 740) -> Any:
    """A page that notes every script error and every refusal of the policy in `page.wrong`."""
    context = browser.new_context(
        viewport={"width": width, "height": height}, is_mobile=touch, has_touch=touch, device_scale_factor=2
    )
    page = context.new_page()
    page.set_default_timeout(90_000)
    page.wrong = []
    page.on("pageerror", lambda e: page.wrong.append(str(e)))
    page.on("console", lambda m: page.wrong.append(m.text) if "Content Security" in m.text else None)
    return page


def whole_page(page: Any, path: Path) -> None:
    """A picture of all of the page. Chromium lays the page out larger for it, and once did not come back:
    every tap after it missed its button by the same distance. A viewport set anew brings it back."""
    page.screenshot(path=str(path), full_page=True)
    seen = page.viewport_size
    page.set_viewport_size({**seen, "height": seen["height"] + 1})
    page.set_viewport_size(seen)


def begin(page: Any, address: str, name: str, template: str = "relay-load") -> None:
    """Start a job on the page, as a person does."""
    page.goto(f"{address}/new?template={template}&door=part")
    page.fill("#name", name)
    page.fill("#complaint", "the pump does not run")
    page.click("text=Begin")
    page.wait_for_selector("live-job:defined")


def own(page: Any, line: str) -> None:
    page.fill("#line", line)
    page.click(".own button")


def said(page: Any, line: str) -> None:
    page.wait_for_function("l => document.querySelector('#said')?.innerText.includes(l)", arg=line)


needs_browser = pytest.mark.skipif(
    CHROMIUM is None and not os.environ.get("CI"), reason="NO CHROMIUM: the pages are not tried in a browser"
)
