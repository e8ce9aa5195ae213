"""Pages of recordings: bring a file in pieces, see it, zoom it, hold it against the sheet, put it into the
findings. Samples never leave the server: slices of lowest and highest do."""

from __future__ import annotations

import asyncio
from collections import OrderedDict
from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter, Form, HTTPException, Request, UploadFile
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from amptrail.errors import InputError, one
from amptrail.jobs.recorded import recordingfiles as files
from amptrail.recording.compare import compared
from amptrail.recording.picture import Seen
from amptrail.recording.png import png
from amptrail.recording.wire import packed, told_of
from amptrail.web import store
from amptrail.web.figures import figure
from amptrail.web.guard import FORM_KEY
from amptrail.web.routes import checked, show, with_nonce, wrong
from amptrail.web.work import Workers

router = APIRouter(include_in_schema=False)
READING_S = 600.0  # a long table takes its time
OPEN_MOST = 12  # recordings held mapped
Json = dict[str, Any]
_MAPPED: OrderedDict[tuple[str, str, int], Seen] = OrderedDict()


def start() -> Workers:
    """The process that reads files: a long one keeps nobody else waiting."""
    return Workers(READING_S, "cut the recording to the part that matters")


def _mapped(job: str, keys: Sequence[str]) -> tuple[Seen, ...]:
    """Recordings of a job, mapped once for many zooms; anew when their clips were said anew."""
    out = []
    for key in keys:
        stamp = files.stamp(job, key)
        found = _MAPPED.pop((job, key, stamp), None) or files.shown(job, [key])[0]
        _MAPPED[job, key, stamp] = found
        out.append(found)
    while len(_MAPPED) > OPEN_MOST:
        _MAPPED.popitem(last=False)
    return tuple(out)


def _keys(key: str, over: str) -> list[str]:
    return [key] if not over or over == key else [key, over]


@router.get("/job/{name}/recordings", response_class=HTMLResponse)
async def recordings(request: Request, name: str) -> HTMLResponse:
    """The recordings of a job, and where one is brought."""
    found = await store.read(name)
    rows = await asyncio.to_thread(files.listed, name)
    here = {r.get("recording"): r for r in found.state.recordings}
    return show(request, "recordings.html", name=name, rows=rows, here=here, most=files.MOST_BYTES,
                part=files.PART_BYTES)  # fmt: skip


@router.put("/job/{name}/recordings/{key}")
async def piece(request: Request, name: str, key: str, file: str, offset: int, size: int) -> Response:
    """A piece of a file. Answers how many bytes are here: whoever sends goes on from there."""
    block = await request.body()
    here = await asyncio.to_thread(files.receive, store.proper(name), key, file, max(offset, 0), size, block)
    return JSONResponse({"here": here, "size": size}, 200 if here == offset + len(block) else 409)


@router.post("/job/{name}/recordings")
async def whole(
    request: Request, name: str, file: UploadFile, key: str = Form("", alias=FORM_KEY)
) -> Response:
    """A small file from a form without scripts."""
    checked(request, key)
    content = await file.read()
    if not content:
        raise one("empty-file", "no file was chosen, or it is empty", remedy="choose the recording's file")
    made = files.fresh_key()
    title = file.filename or "recording"
    await asyncio.to_thread(files.receive, store.proper(name), made, title, 0, len(content), content)
    return RedirectResponse(f"/job/{name}/recording/{made}", 303)


@router.get("/job/{name}/recordings/{key}")
async def here(name: str, key: str) -> Response:
    """How many bytes of a file are here, for going on after the network was gone."""
    at = await asyncio.to_thread(files.status, store.proper(name), key)
    return JSONResponse({"here": at.here, "size": at.size, "ready": at.ready})


async def _read(request: Request, name: str, key: str, said: tuple[str, ...], interval_s: float | None,
                time: str | None) -> Json:  # fmt: skip
    """Read the file in the process beside the server; what it shows goes into the job's log."""
    found = await store.read(name)
    sheet = await asyncio.to_thread(files.sheet_now, found)
    workers: Workers = request.app.state.recorders
    got = await workers.ask(
        "recording", job=name, key=key, channels=said, interval_s=interval_s, time=time, sheet=sheet
    )
    await asyncio.to_thread(files.attach, name, [key])
    await request.app.state.hub.tell(name, len(found.state.readings))
    return got


@router.post("/job/{name}/recording/{key}/read")
async def read(
    request: Request, name: str, key: str, form_key: str = Form("", alias=FORM_KEY),
    interval_s: str = Form(""), time: str = Form(""),
) -> Response:  # fmt: skip
    """Where the clips were, said anew: read again with that."""
    checked(request, form_key)
    form = await request.form()
    said = []
    for field, value in form.multi_items():
        if field.startswith("channel.") and isinstance(value, str) and value.strip():
            said.append(f"{field.removeprefix('channel.')}={value.strip()}")
    try:
        wait = figure(interval_s, "time between two samples, s", "0.001")
        if wait is not None and not 0 < wait < 1e6:
            raise one(
                "bad-number", f"{interval_s!r} is no time between two samples, s", remedy="such as 0.001"
            )
        await _read(request, store.proper(name), key, tuple(said), wait, time.strip() or None)
    except InputError as e:
        return wrong(request, e)
    return RedirectResponse(f"/job/{name}/recording/{key}", 303)


@router.get("/job/{name}/recording/{key}", response_class=HTMLResponse)
async def recording(
    request: Request,
    name: str,
    key: str,
    over: str = "",
    begin: float | None = None,
    end: float | None = None,
) -> HTMLResponse:
    """The picture, what happened in it, what the sheet wanted of it; read first when nobody has."""
    found = await store.read(name)
    at = await asyncio.to_thread(files.status, store.proper(name), key)
    if at.here != at.size:
        rows = await asyncio.to_thread(files.listed, name)
        return show(request, "recordings.html", name=name, rows=rows, here={}, most=files.MOST_BYTES,
                    part=files.PART_BYTES, unfinished=at)  # fmt: skip
    if not at.ready:
        await _read(request, name, key, (), None, None)
    seen = await asyncio.to_thread(_mapped, name, _keys(key, over))
    told = await asyncio.to_thread(files.told_of, name, key)
    whole = told_of(seen)
    a, b = _stretch(whole, begin, end)
    drawn = await asyncio.to_thread(files.drawn, seen, a, b, False)
    known = (
        await request.app.state.workers.ask("check", sheet=found.state.sheet) if found.state.sheet else None
    )
    others = [r for r in await asyncio.to_thread(files.listed, name) if r.ready and r.key != key]
    words = compared(*seen) if len(seen) == 2 else ()
    return show(
        request, "recording.html", name=name, at=at, over=over, others=others, told=told, whole=whole,
        begin=a, end=b, svg=with_nonce(drawn, request.state.nonce), compared=words,
        clips={c.name: _clip(c) for c in seen[0].recording.channels},
        points=[p["name"] for p in known["points"]][:400] if known else [],
        in_findings=any(r.get("recording") == key for r in found.state.recordings),
        wide=b - a, entry=files.fresh_key(),
    )  # fmt: skip


def _clip(c: Any) -> str:
    """What was said of a channel's clips, as it is typed."""
    if not (c.point or c.to or c.factor != 1.0 or c.offset):
        return ""
    parts = [c.point or "", f"to {c.to}" if c.to else "", f"unit {c.unit}" if c.unit in ("V", "A") else ""]
    parts += [f"x {c.factor:g}" if c.factor != 1.0 else "", f"offset {c.offset:g}" if c.offset else ""]
    return " ".join(p for p in parts if p)


def _stretch(whole: Json, begin: float | None, end: float | None) -> tuple[float, float]:
    """The stretch to show, within the recording."""
    first, last = whole["begin_s"], max(whole["end_s"], whole["begin_s"] + 1e-9)
    a = min(max(begin, first), last) if begin is not None and begin == begin else first
    b = min(max(end, first), last) if end is not None and end == end else last
    return (a, b) if b > a else (first, last)


@router.get("/job/{name}/recording/{key}/told")
async def told(name: str, key: str, over: str = "") -> Response:
    """Rows, events and phases for the canvas."""
    seen = await asyncio.to_thread(_mapped, store.proper(name), _keys(key, over))
    return JSONResponse(told_of(seen))


@router.get("/job/{name}/recording/{key}/slices")
async def slices(name: str, key: str, begin: float, end: float, columns: int, over: str = "") -> Response:
    """Lowest and highest of so many slices, as `recording.wire` writes them."""
    if not (-1e12 < begin < end < 1e12):
        raise HTTPException(422, "begin lies before end, both in seconds")
    seen = await asyncio.to_thread(_mapped, store.proper(name), _keys(key, over))
    made = await asyncio.to_thread(packed, seen, begin, end, columns)
    return Response(made, media_type="application/octet-stream")


@router.get("/job/{name}/recording/{key}/picture.{form}")
async def picture(
    name: str, key: str, form: str, over: str = "", begin: float | None = None, end: float | None = None
) -> Response:
    """The same picture as SVG or PNG, for any write-up."""
    if form not in ("svg", "png"):
        raise HTTPException(404, "pictures are svg or png")
    seen = await asyncio.to_thread(_mapped, store.proper(name), _keys(key, over))
    a, b = _stretch(told_of(seen), begin, end)
    drawn = await asyncio.to_thread(files.drawn, seen, a, b)
    content = drawn.encode() if form == "svg" else await asyncio.to_thread(png, drawn)
    kind = "image/svg+xml" if form == "svg" else "image/png"
    return Response(content, media_type=kind,
                    headers={"content-disposition": f'attachment; filename="recording.{form}"'})  # fmt: skip


@router.post("/job/{name}/recording/{key}/findings")
async def attach(
    request: Request, name: str, key: str, over: str = Form(""), begin: float | None = Form(None),
    end: float | None = Form(None), out: str = Form(""), entry: str = Form(""),
    form_key: str = Form("", alias=FORM_KEY),
) -> Response:  # fmt: skip
    """Put this picture into the findings, or leave the recording out of them."""
    checked(request, form_key)
    job = store.proper(name)
    if out:
        await asyncio.to_thread(files.leave_out, job, key)
    else:
        await asyncio.to_thread(files.attach, job, _keys(key, over), begin, end, entry or None)
    return RedirectResponse(f"/job/{name}/recording/{key}" + (f"?over={over}" if over else ""), 303)


@router.post("/job/{name}/recording/{key}/discard")
async def discard(
    request: Request, name: str, key: str, form_key: str = Form("", alias=FORM_KEY)
) -> Response:
    """Remove a file; what the log says of it stays."""
    checked(request, form_key)
    await asyncio.to_thread(files.discard, store.proper(name), key)
    return RedirectResponse(f"/job/{name}/recordings", 303)
