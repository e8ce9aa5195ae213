"""Pages of papers: each paper of a job as PDF or as one file of HTML, and the files attached to the job."""

from __future__ import annotations

import asyncio
from typing import Any, get_args
from urllib.parse import quote

from fastapi import APIRouter, Form, HTTPException, Request, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from amptrail.errors import one
from amptrail.jobs.log.attached import content_of, keep_bytes
from amptrail.jobs.papers.papers import KINDS, Kind
from amptrail.paper.blocks import LABELS
from amptrail.paper.label import Where
from amptrail.paper.words import languages
from amptrail.web import store
from amptrail.web.guard import FORM_KEY
from amptrail.web.office import TOLD
from amptrail.web.routes import checked, show

router = APIRouter(include_in_schema=False)
MEDIA = {"pdf": "application/pdf", "html": "text/html; charset=utf-8"}
SHOWN = ("image/jpeg", "image/png")  # pictures a browser may show; anything else is only handed over
# what each paper is for, in the order a job needs them; labels come by their feed
WORDS = {
    "pencil": "An empty page for readings, with what is worth reading next",
    "quote": "Quote: minutes to a proven cause, and where each slice stops",
    "proof-sheet": "What is shown and what is missing before a part is called dead",
    "slip": "Talk slip for the shop: repair, feed that holds, or left standing",
    "findings": "Findings: the page the next person starts from",
    "notice": "Notice to the owner of what is temporary",
    "invoice": "Invoice",
}


@router.get("/job/{name}/papers", response_class=HTMLResponse)
async def papers(request: Request, name: str) -> HTMLResponse:
    """Every paper the job can give, and its files."""
    found = await store.read(name)
    s = found.state
    fitted = [f for f in s.feeds if f.get("fitted")]
    skip = {"notice"} if not fitted else set()
    skip |= {"proof-sheet", "pencil"} if s.sheet is None else set()
    skip |= {"invoice"} if s.facts.get("rate") is None and s.facts.get("flat") is None else set()
    return show(
        request, "papers.html", name=name, kinds={k: w for k, w in WORDS.items() if k not in skip},
        fitted=fitted, files=s.files, languages=languages(), places=get_args(Where), sizes=tuple(LABELS),
        no_price="invoice" in skip, told=TOLD, closed=s.closed, proven=bool(s.conclusion),
    )  # fmt: skip


def _asked(kind: str, form: str) -> Kind:
    if kind not in KINDS or form not in MEDIA:
        raise one("no-paper", f"no paper is called {kind}.{form}"[:80], expected=tuple(KINDS),
                  remedy="choose one of the page of papers")  # fmt: skip
    return kind


@router.get("/job/{name}/paper/{kind}.{form}")
async def paper(
    request: Request, name: str, kind: str, form: str, language: str = "", sheet: str = "a4", feed: str = "",
    where: str = "splice",
) -> Response:  # fmt: skip
    """A paper, set in the process beside the server."""
    await store.read(name)
    if where not in get_args(Where):
        raise one(
            "no-place", f"no label is for {where!r}"[:80], expected=get_args(Where), remedy="choose one"
        )
    asked: dict[str, Any] = {"kind": _asked(kind, form), "sheet": sheet, "feed": feed or None, "where": where}
    got = await request.app.state.workers.ask(
        "paper", job=name, form=form, asked={**asked, "language": language or None}
    )
    how = "inline" if form == "pdf" else "attachment"
    return _file(got["content"], MEDIA[form], f"{name}-{kind}.{form}", how)


def _file(content: bytes, media: str, title: str, how: str) -> Response:
    ascii_title = "".join(c if c.isascii() and (c.isalnum() or c in "._- ") else "_" for c in title)
    told = f"{how}; filename=\"{ascii_title}\"; filename*=UTF-8''{quote(title)}"
    return Response(content, media_type=media, headers={"Content-Disposition": told})


@router.post("/job/{name}/files")
async def attach(
    request: Request, name: str, file: UploadFile, words: str = Form("", max_length=500),
    key: str = Form("", alias=FORM_KEY),
) -> Response:  # fmt: skip
    """A photograph or any file for the job."""
    checked(request, key)
    content = await file.read()
    await asyncio.to_thread(keep_bytes, store.proper(name), file.filename or "file", content, words)
    await request.app.state.hub.tell(name, store.count(await store.read(name)))
    return RedirectResponse(f"/job/{name}/papers", 303)


@router.get("/job/{name}/file/{entry}")
async def fetch(name: str, entry: str) -> Response:
    """An attached file: a picture is shown, anything else is handed over as a file."""
    found = await store.read(name)
    row = next((f for f in found.state.files if f["id"] == entry), None)
    if row is None:
        raise HTTPException(404, "the job has no such file")
    content = await asyncio.to_thread(content_of, str(row["sha256"]))
    media = str(row.get("media"))
    shown = media in SHOWN
    return _file(content, media if shown else "application/octet-stream", str(row.get("name") or entry),
                 "inline" if shown else "attachment")  # fmt: skip
