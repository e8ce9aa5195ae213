"""Recordings on the pages: brought in pieces, seen, zoomed, held against the sheet, put into the findings."""

from __future__ import annotations

import re
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

SHEET = (Path(__file__).parents[2] / "demos" / "sprayer.sheet").read_text()
JOB = "scope-1"
RATE = 1000.0


def drive(low: float = 9.8, later: float = 0.0, noise: float = 0.02) -> bytes:
    """A table: battery, key, a relay's contact that is away for 12 ms."""
    t = np.arange(20_000) / RATE
    grain = np.random.default_rng(1).standard_normal((3, t.shape[0])) * noise
    battery = np.where((t >= 3 + later) & (t < 4 + later), low, np.where(t >= 4 + later, 14.1, 12.5))
    key = np.where((t >= 1 + later) & (t < 15 + later), 12.3, 0.0)
    contact = np.where((t >= 2 + later) & (t < 15 + later) & ~((t >= 9) & (t < 9.012)), 12.2, 0.0)
    columns = np.column_stack((t, *(np.array([battery, key, contact]) + grain)))
    rows = "\n".join(",".join(f"{v:.6g}" for v in row) for row in columns)
    return f"time (s),BAT.+ (V),KEY.15 (V),K4.87 (V)\n{rows}\n".encode()


def form_key(page: str) -> str:
    found = re.search(r'name="key" value="([^"]+)"', page)
    assert found
    return found[1]


@pytest.fixture(scope="module")
def job(client: TestClient) -> TestClient:
    key = form_key(client.get("/new").text)
    client.post("/new", data={"key": key, "name": JOB, "sheet": SHEET, "complaint": "stops at times"})
    return client


def put(client: TestClient, key: str, content: bytes, name: str, part: int = 100_000) -> None:
    here = 0
    while here < len(content):
        asked = {"file": name, "offset": here, "size": len(content)}
        got = client.put(f"/job/{JOB}/recordings/{key}", params=asked, content=content[here : here + part])
        assert got.status_code == 200, got.text
        here = got.json()["here"]


@pytest.fixture(scope="module")
def brought(job: TestClient) -> TestClient:
    put(job, "was", drive(low=7.1), "was.csv")
    put(job, "now", drive(later=0.5), "now.csv")
    for key in ("was", "now"):
        assert job.get(f"/job/{JOB}/recording/{key}").status_code == 200
    return job


def unpacked(content: bytes) -> list[dict[str, Any]]:
    """The bytes as `recording/wire.py` says, read by the standard library."""
    magic, count = struct.unpack_from("<II", content)
    assert magic == 0x31534D41
    out, at = [], 8 + 32 * count
    for k in range(count):
        which, channel, n, zero, t0, step = struct.unpack_from("<IIIIdd", content, 8 + 32 * k)
        assert zero == 0
        low = struct.unpack_from(f"<{n}f", content, at)
        high = struct.unpack_from(f"<{n}f", content, at + 4 * n)
        out.append({"which": which, "channel": channel, "t0": t0, "step": step, "low": low, "high": high})
        at += 8 * n
    assert at == len(content)
    return out


def test_a_file_in_pieces_goes_on_where_it_stopped(job: TestClient) -> None:
    content = drive()
    at = f"/job/{JOB}/recordings/pieces"
    first = job.put(at, params={"file": "x.csv", "offset": 0, "size": len(content)}, content=content[:1000])
    assert first.json() == {"here": 1000, "size": len(content)}
    # the answer was lost and the piece is sent again: not written twice
    again = job.put(at, params={"file": "x.csv", "offset": 0, "size": len(content)}, content=content[:1000])
    assert (again.status_code, again.json()["here"]) == (200, 1000)
    gap = job.put(
        at, params={"file": "x.csv", "offset": 1500, "size": len(content)}, content=content[1500:2000]
    )
    assert (gap.status_code, gap.json()["here"]) == (409, 1000)
    assert job.get(at).json() == {"here": 1000, "size": len(content), "ready": False}
    page = job.get(f"/job/{JOB}/recording/pieces").text
    assert "Choose the same file again" in page
    rest = job.put(at, params={"file": "x.csv", "offset": 1000, "size": len(content)}, content=content[1000:])
    assert rest.json()["here"] == len(content)
    assert "pulls in" in job.get(f"/job/{JOB}/recording/pieces").text


@pytest.mark.parametrize(
    ("key", "size", "status", "words"),
    [
        ("big", 3_000_000_000, 422, "GB at most"),
        ("short", 3, 422, "GB at most"),
        ("..%2f..%2fx", 10, 404, ""),
        ("a" * 80, 10, 422, "no recording"),
    ],
)
def test_what_is_no_recording_is_refused(
    job: TestClient, key: str, size: int, status: int, words: str
) -> None:
    got = job.put(
        f"/job/{JOB}/recordings/{key}",
        params={"file": "../../x.csv", "offset": 0, "size": size},
        content=b"0123456789",
        headers={"accept": "application/json"},
    )
    assert got.status_code == status
    assert words in got.text


def test_no_files_for_a_job_that_is_not_there(job: TestClient, home: Path) -> None:
    before = sorted(home.rglob("*"))
    got = job.put("/job/nobody/recordings/k", params={"file": "x", "offset": 0, "size": 3}, content=b"abc")
    assert got.status_code == 404
    assert sorted(home.rglob("*")) == before


def test_a_piece_from_another_site_is_refused(job: TestClient) -> None:
    got = job.put(
        f"/job/{JOB}/recordings/k",
        params={"file": "x", "offset": 0, "size": 3},
        content=b"abc",
        headers={"origin": "http://elsewhere.test"},
    )
    assert got.status_code == 403


def test_a_file_that_is_no_recording_is_told(job: TestClient) -> None:
    put(job, "words", b"nothing here\nbut words\n", "x.csv")
    page = job.get(f"/job/{JOB}/recording/words")
    assert page.status_code == 422
    assert "no table" in page.text or "numbers" in page.text
    key = form_key(job.get(f"/job/{JOB}/recordings").text)
    job.post(f"/job/{JOB}/recording/words/discard", data={"key": key})
    assert "/recording/words" not in job.get(f"/job/{JOB}/recordings").text


def test_a_small_file_from_a_form_without_scripts(job: TestClient) -> None:
    key = form_key(job.get(f"/job/{JOB}/recordings").text)
    page = job.post(
        f"/job/{JOB}/recordings", data={"key": key}, files={"file": ("plain.csv", drive(), "text/csv")}
    )
    assert page.status_code == 200
    assert "plain.csv" in page.text
    assert "<svg" in page.text  # the picture is there without scripts


def test_slices_hold_every_sample_and_zoom(brought: TestClient) -> None:
    """Beside numpy over the samples as written: the sag and the 12 ms are in the slices of any zoom."""
    table = np.loadtxt(drive(low=7.1).decode().splitlines()[1:], delimiter=",")
    at = f"/job/{JOB}/recording/was/slices"
    for begin, end, columns in ((0.0, 20.0, 300), (8.9, 9.1, 50), (2.9, 3.2, 1000)):
        got = unpacked(brought.get(at, params={"begin": begin, "end": end, "columns": columns}).content)
        assert [g["channel"] for g in got] == [0, 1, 2]
        inside = (table[:, 0] >= begin - 1e-9) & (table[:, 0] <= end + 1e-9)
        for g in got:
            column = table[inside, 1 + g["channel"]]
            assert min(g["low"]) == pytest.approx(column.min(), rel=1e-6)
            assert max(g["high"]) == pytest.approx(column.max(), rel=1e-6)
            assert len(g["low"]) <= columns
            last = g["t0"] + g["step"] * (len(g["low"]) - 1)
            assert begin - 1e-6 <= g["t0"] <= last <= end + 1e-6
    assert brought.get(at, params={"begin": 5, "end": 5, "columns": 10}).status_code == 422
    assert brought.get(at, params={"begin": "nan", "end": 5, "columns": 10}).status_code == 422
    assert unpacked(brought.get(at, params={"begin": 100, "end": 120, "columns": 10}).content) == []


def test_two_recordings_are_laid_over_each_other(brought: TestClient) -> None:
    told = brought.get(f"/job/{JOB}/recording/was/told", params={"over": "now"}).json()
    assert [f["name"] for f in told["files"]] == ["was.csv", "now.csv"]
    assert told["files"][1]["shift_s"] == pytest.approx(-0.5, abs=2e-3)
    assert len(told["rows"]) == 3
    keys = [[e["t_s"] for e in f["events"] if e["kind"] == "key_on"] for f in told["files"]]
    assert keys[0][0] == pytest.approx(keys[1][0], abs=2e-3)
    got = unpacked(
        brought.get(
            f"/job/{JOB}/recording/was/slices", params={"over": "now", "begin": 0, "end": 20, "columns": 100}
        ).content
    )
    assert [(g["which"], g["channel"]) for g in got] == [(n, k) for n in (0, 1) for k in range(3)]
    page = brought.get(f"/job/{JOB}/recording/was", params={"over": "now"}).text
    assert "BAT.+ lowest in cranking: 7." in page
    assert 'class="t1"' in page


def test_pictures_for_the_write_up(brought: TestClient) -> None:
    from PIL import Image

    at = f"/job/{JOB}/recording/was/picture"
    drawn = brought.get(at + ".svg", params={"begin": 2, "end": 5})
    assert drawn.headers["content-type"].startswith("image/svg")
    assert "cranking begins" in drawn.text
    assert "gone" not in drawn.text  # the drop-out at 9 s is outside
    import io

    image = Image.open(io.BytesIO(brought.get(at + ".png", params={"begin": 2, "end": 5}).content))
    assert image.size[0] > 1000
    colours = {c for _, c in image.convert("RGB").getcolors(1 << 24) or []}
    assert (0x1F, 0x4E, 0x79) in colours  # the trace is drawn
    assert brought.get(at + ".gif").status_code == 404


def test_the_picture_is_in_the_findings_and_can_be_left_out(brought: TestClient) -> None:
    from amptrail.jobs.log.cases import case
    from amptrail.jobs.papers.papers import PaperOptions, make
    from amptrail.paper.blocks import Picture
    from amptrail.paper.plain import plain

    def pictures() -> list[str]:
        return [r["caption"] for r in case(JOB).state.recordings]

    assert any("was.csv" in c for c in pictures())
    key = form_key(brought.get(f"/job/{JOB}/recording/was").text)
    at = f"/job/{JOB}/recording/was/findings"
    brought.post(at, data={"key": key, "begin": "2.5", "end": "4.5", "entry": "zoomed"})
    assert sum("was.csv" in c for c in pictures()) == 1  # the later picture stands
    assert any("was.csv, 2.5 s to 4.5 s" in c for c in pictures())
    made = make(case(JOB), PaperOptions("findings"))
    drawn = [b for b in made.blocks if isinstance(b, Picture) and b.caption.startswith("Recording was.csv")]
    assert [d.svg.count('class="t0"') for d in drawn] == [3]
    text = plain(made)
    assert "What the recording shows" in text
    assert "cranking begins, lowest 7." in text
    rest = " ".join(text.split("Not shown by this recording:", 1)[1].split("\n  - ")[0].split())
    assert "stop-held" in rest  # nothing recorded of it: not shown, and no pass
    assert "[x] stop-held" not in text
    brought.post(at, data={"key": key, "out": "1"})
    assert not any("was.csv" in c for c in pictures())
    assert brought.post(at, data={"key": "older"}).status_code == 403


def test_clips_said_anew(brought: TestClient) -> None:
    """Both clips on battery plus: the channel reads the other way round until it is said."""
    t = np.arange(8000) / RATE
    y = 12.5 - np.where((t >= 2) & (t < 6), 12.3, 0.0)
    rows = "\n".join(f"{a:.4f},{b:.3f}" for a, b in zip(t, y, strict=True))
    put(brought, "clips", f"time,CH1\n{rows}\n".encode(), "clips.csv")
    at = f"/job/{JOB}/recording/clips"
    page = brought.get(at).text
    data = {"key": form_key(page), "channel.CH1": "BAT.+ to K4.87"}
    page = brought.post(f"{at}/read", data=data).text
    events = brought.get(f"{at}/told").json()["files"][0]["events"]
    assert [(e["kind"], round(e["t_s"], 2)) for e in events] == [("pull_in", 2.0), ("drop_out", 6.0)]
    assert 'value="BAT.+ to K4.87"' in page
    assert "CAUTION Scope grounds" in page
    # said anew, the scale begins from the file's samples, not from what was said before
    for _ in range(2):
        brought.post(f"{at}/read", data={**data, "channel.CH1": "K4.87 x 2"})
    assert brought.get(f"{at}/told").json()["rows"][0]["high"] == pytest.approx(25.0, rel=1e-5)
    wrong = brought.post(f"{at}/read", data={**data, "interval_s": "soon"})
    assert wrong.status_code == 422
    assert "time between two samples" in wrong.text and "is no number" in wrong.text


def test_a_job_without_a_sheet_has_recordings_too(client: TestClient) -> None:
    """A complaint and a scope file, the diagram still to come."""
    from amptrail.jobs.log.cases import case, run

    run("new", "no-diagram", [], lambda _: "", complaint="dies at times")
    content = drive()
    asked = {"file": "x.csv", "offset": 0, "size": len(content)}
    assert client.put("/job/no-diagram/recordings/k", params=asked, content=content).status_code == 200
    page = client.get("/job/no-diagram/recording/k")
    assert page.status_code == 200
    assert "away 12.0 ms" in page.text
    assert "What must be shown" not in page.text
    assert [r["file"] for r in case("no-diagram").state.recordings] == ["x.csv"]


def test_readings_of_a_recording_are_added_once(brought: TestClient) -> None:
    from amptrail.jobs.log.cases import case

    page = brought.get(f"/job/{JOB}/recording/now").text
    found = re.search(r'<textarea name="line"[^>]*>([^<]+)</textarea>', page)
    assert found
    lines = found[1].replace("&#34;", '"').strip().splitlines()
    assert any(x.startswith("BAT.+ in cranking scope 9.") for x in lines), lines
    before = len(case(JOB).state.readings)
    for _ in range(2):
        data = {"key": form_key(page), "line": "\n".join(lines), "entry": "recording-now"}
        assert brought.post(f"/job/{JOB}/add", data=data, follow_redirects=False).status_code == 303
    assert len(case(JOB).state.readings) == before + len(lines)
