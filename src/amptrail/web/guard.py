"""Who may ask: everyone on this machine, and off it only who has paired with the code on the laptop's
screen."""

from __future__ import annotations

import asyncio
import secrets
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from urllib.parse import quote

from fastapi import Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from starlette.requests import HTTPConnection

COOKIE, FORM_KEY = "amptrail", "key"
WRONG_CODES = 8  # then pairing is closed until the server is started again
OPEN = ("/pair", "/static/")
LOOPBACK = ("127.0.0.1", "::1", "localhost", "testclient")
CHANGES = ("POST", "PUT", "PATCH", "DELETE")


@dataclass
class Guard:
    """Sessions, the pairing code, and the key every form carries. `workshop`: phones on the network may
    pair."""

    workshop: bool = False
    code: str = field(default_factory=lambda: f"{secrets.randbelow(10**8):08d}")
    sessions: dict[str, float] = field(default_factory=dict)
    wrong: int = 0
    form_key: str = field(default_factory=lambda: secrets.token_urlsafe(18))

    def local(self, request: HTTPConnection) -> bool:
        """Whether the asker sits at this machine, by its address and by the name it used for us."""
        client = request.client.host if request.client else ""
        host = (request.headers.get("host") or "").rsplit(":", 1)[0].strip("[]")
        return client in LOOPBACK and host in (*LOOPBACK, "testserver")

    def known(self, request: HTTPConnection) -> bool:
        """Whether the asker may use the pages and the interface."""
        if self.local(request):
            return True
        return self.workshop and request.cookies.get(COOKIE, "") in self.sessions

    @property
    def closed(self) -> bool:
        """Too many wrong codes: nobody pairs any more."""
        return self.wrong >= WRONG_CODES

    async def pair(self, code: str) -> str | None:
        """A new session for the right code, which is used up; None for a wrong one, later and later."""
        if self.closed:
            return None
        if not secrets.compare_digest(code.strip().replace(" ", ""), self.code):
            self.wrong += 1
            await asyncio.sleep(min(0.25 * 2**self.wrong, 8.0))
            return None
        self.code = f"{secrets.randbelow(10**8):08d}"
        token = secrets.token_urlsafe(32)
        self.sessions[token] = time.time()
        return token

    def same_site(self, request: HTTPConnection) -> bool:
        """Whether a change comes from one of our own pages."""
        origin = request.headers.get("origin")
        host = request.headers.get("host", "")
        return origin is None or origin.split("://", 1)[-1] == host


def own_page(path: str) -> str:
    """A page of our own to go on with."""
    return path if path.startswith("/") and not path.startswith(("//", "/\\")) else "/"


def headers(response: Response, nonce: str) -> None:
    """A strict policy: nothing from elsewhere, no script but our own files."""
    response.headers["Content-Security-Policy"] = (
        f"default-src 'none'; script-src 'self'; style-src 'self' 'nonce-{nonce}'; "
        "img-src 'self' data: blob:; "
        "connect-src 'self'; form-action 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    )
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = (
        "same-origin"  # "no-referrer" would make the origin of forms unknown
    )
    if "cache-control" not in response.headers:
        response.headers["Cache-Control"] = "no-store"


def middleware(
    guard: Guard,
) -> Callable[[Request, Callable[[Request], Awaitable[Response]]], Awaitable[Response]]:
    """The check before every page and every call."""

    async def check(request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
        request.state.nonce = secrets.token_urlsafe(12)
        path = request.url.path
        response: Response
        if not guard.known(request) and not path.startswith(OPEN):
            wants_page = "text/html" in request.headers.get("accept", "")
            response = (
                RedirectResponse(f"/pair?to={quote(path)}" if path != "/" else "/pair", 303)
                if wants_page and guard.workshop
                else JSONResponse({"detail": "pair this device first"}, 401)
            )
        elif request.method in CHANGES and not guard.same_site(request):
            response = JSONResponse({"detail": "this came from another site"}, 403)
        else:
            response = await call(request)
        headers(response, request.state.nonce)
        return response

    return check
