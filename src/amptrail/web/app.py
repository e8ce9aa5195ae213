"""The application: guard before everything, pages, interface, files."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from amptrail.errors import InputError, Problem
from amptrail.web import (
    api,
    casework,
    circuit,
    earlier,
    feeds,
    interface,
    night,
    office,
    paper,
    people,
    practice,
    recording,
    routes,
    sheets,
)
from amptrail.web.guard import Guard, middleware
from amptrail.web.live import Hub
from amptrail.web.work import LONGEST_S, Workers

LARGEST_BODY = 8_000_000


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    warming = asyncio.create_task(app.state.workers.warm())
    yield
    warming.cancel()
    app.state.workers.stop()
    app.state.recorders.stop()


def create_app(
    workshop: bool = False, address: str = "http://127.0.0.1:8765", longest_s: float = LONGEST_S
) -> FastAPI:
    """The application. `workshop`: phones on the network may pair; `longest_s`: how long one question may
    take."""
    app = FastAPI(
        title="amptrail",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        lifespan=_lifespan,
        description="The use cases of amptrail as JSON. Readings are added to jobs, each once.",
    )
    app.state.guard, app.state.workers, app.state.hub = Guard(workshop), Workers(longest_s), Hub()
    app.state.recorders = recording.start()
    app.state.address = address
    app.state.authority = None
    app.middleware("http")(people.middleware)  # after the guard, which is laid around it
    app.middleware("http")(middleware(app.state.guard))
    app.include_router(interface.router)
    app.include_router(api.router)
    app.include_router(sheets.router)
    app.include_router(routes.router)
    app.include_router(earlier.router)
    app.include_router(recording.router)
    app.include_router(circuit.router)
    app.include_router(feeds.router)
    app.include_router(casework.router)
    app.include_router(night.router)
    app.include_router(practice.router)
    app.include_router(paper.router)
    app.include_router(office.router)
    app.include_router(people.router)
    app.mount("/static", StaticFiles(directory=Path(__file__).parent / "static"), name="static")
    app.add_exception_handler(InputError, _input)
    app.add_exception_handler(RequestValidationError, _unread)
    app.add_exception_handler(HTTPException, _http)
    app.middleware("http")(_size)
    return app


async def _size(request: Request, call: Any) -> Response:
    """No body larger than a sheet can be, and none whose size is not said beforehand."""
    if "transfer-encoding" in request.headers and "content-length" not in request.headers:
        return JSONResponse({"detail": "say how long this is (Content-Length)"}, 411)
    length = request.headers.get("content-length", "0")
    if not length.isdigit() or int(length) > LARGEST_BODY:
        return JSONResponse({"detail": "this is larger than a sheet can be"}, 413)
    response: Response = await call(request)
    return response


def _wants_page(request: Request) -> bool:
    return "text/html" in request.headers.get("accept", "") and not request.url.path.startswith("/api")


async def _input(request: Request, e: Exception) -> Response:
    problems = e.problems if isinstance(e, InputError) else ()
    missing = any(p.code in ("no-such-job", "no-template") for p in problems)
    if _wants_page(request):
        return routes.wrong(request, InputError(tuple(problems)), 404 if missing else 422)
    rows = [
        {
            "code": p.code,
            "message": p.message,
            "line": p.line,
            "column": p.column,
            "expected": list(p.expected)[:50],
            "nearest": p.nearest,
            "remedy": p.remedy,
        }
        for p in problems
    ]
    return JSONResponse({"problems": rows}, 404 if missing else 422)


async def _unread(request: Request, e: Exception) -> Response:
    """What does not fit the interface, in the same words as what does not fit the sheet."""
    found = e.errors() if isinstance(e, RequestValidationError) else ()
    problems = [
        Problem(
            "bad-request",
            f"{'.'.join(str(x) for x in row['loc'][1:]) or 'the request'}: {row['msg']}",
            remedy="see /api/openapi.json for what is asked for",
        )
        for row in found
    ]
    return await _input(request, InputError(tuple(problems)))


async def _http(request: Request, e: Exception) -> Response:
    status = getattr(e, "status_code", 500)
    if _wants_page(request):
        return routes.show(request, "wrong.html", status, problems=(), said=str(getattr(e, "detail", "")))
    return JSONResponse({"detail": str(getattr(e, "detail", ""))}, status)
