"""Every open page of a job hears of every change of it: one WebSocket a tab."""

from __future__ import annotations

from collections import defaultdict
from contextlib import suppress

from fastapi import WebSocket


class Hub:
    """Open pages by job."""

    def __init__(self) -> None:
        self._open: dict[str, set[WebSocket]] = defaultdict(set)

    async def join(self, job: str, page: WebSocket) -> None:
        """Accept a page and count it in."""
        await page.accept()
        self._open[job].add(page)

    def leave(self, job: str, page: WebSocket) -> None:
        """A page that is gone."""
        self._open[job].discard(page)
        if not self._open[job]:
            del self._open[job]

    async def tell(self, job: str, entries: int) -> None:
        """Tell every page of the job how many entries it has now."""
        for page in list(self._open.get(job, ())):
            with suppress(Exception):  # a page that went away in this moment hears nothing
                await page.send_json({"entries": entries})
