"""The picture of a recording: what is drawn is what is there; the same bytes for the same file."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signals import channel, levels, table

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.recording import Channel
from amptrail.recording.channel import Recording
from amptrail.recording.events import find_events
from amptrail.recording.phases import Span, spans
from amptrail.recording.picture import Seen, aligned, picture, slices
from amptrail.recording.rows import COLUMNS, rows
from amptrail.recording.svg import svg, ticks

RATE = 1000.0


def drive(path: Path, moved: float = 0.0, low: float = 9.8) -> Path:
    t = np.arange(20_000) / RATE
    battery = levels(20, RATE, (0, 20, 12.5), (3 + moved, 4 + moved, low), (4 + moved, 20, 14.1))
    key = levels(20, RATE, (1 + moved, 15 + moved, 12.3))
    return table(path, "time (s),BAT.+ (V),KEY.15 (V)\n", [t, battery, key])


def ask(*argv: str) -> dict[str, Any]:
    return answer(["recording", *argv], Files())


def test_the_same_bytes_twice_and_well_formed(tmp_path: Path) -> None:
    path, out = str(drive(tmp_path / "a.csv")), tmp_path / "a.svg"
    first = ask(path, "--svg", str(out))
    assert first["exit"] == 0
    assert out.read_text() == first["svg"] == ask(path, "--svg", str(out))["svg"]
    root = ElementTree.fromstring(first["svg"])
    words = ["".join(t.itertext()) for t in root.iter("{http://www.w3.org/2000/svg}text")]
    for wanted in ("BAT.+", "KEY.15", "running", "A asleep, 0.000 s to 1.000 s"):
        assert any(w.startswith(wanted) for w in words), wanted
    assert any("BAT.+ cranking begins, lowest 9.80 V" in w for w in words)
    assert "nan" not in first["svg"].casefold()


def test_two_recordings_are_laid_over_each_other_by_the_key(tmp_path: Path) -> None:
    a, b = drive(tmp_path / "was.csv", 0.0, 6.5), drive(tmp_path / "now.csv", 1.5)
    got = ask(str(a), str(b), "--svg", str(tmp_path / "x.svg"))
    assert got["svg"].count('class="t1"') == 2
    assert "now.csv: orange, dashed, moved -1.5000 s" in got["svg"]
    assert got["measures"]["was.csv: BAT.+"]["low"] == pytest.approx(6.5, abs=1e-3)
    assert got["measures"]["now.csv: BAT.+"]["low"] == pytest.approx(9.8, abs=1e-3)


def test_png_is_the_same_picture(tmp_path: Path) -> None:
    """Read by another library: as wide as the drawing, the trace in its colour, twice the same."""
    import io

    from PIL import Image

    path, out = str(drive(tmp_path / "a.csv")), tmp_path / "a.png"
    assert ask(path, "--png", str(out))["exit"] == 0
    image = Image.open(io.BytesIO(out.read_bytes())).convert("RGB")
    assert image.size[0] == pytest.approx(2 * 720, abs=2)
    colours = {c for _, c in image.getcolors(1 << 24) or []}
    assert (0x1F, 0x4E, 0x79) in colours  # a trace, and the red of an event's thin line
    assert any(r > 1.4 * max(g, b) and r > 120 for r, g, b in colours)
    first = out.read_bytes()
    ask(path, "--png", str(out))
    assert out.read_bytes() == first


def test_a_recording_kept_with_a_job_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from amptrail.jobs.log.cases import case, run

    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path / "home"))
    sheet = (Path(__file__).parents[2] / "demos" / "sprayer.sheet").read_text()
    run("new", "gate", ["x"], lambda _: sheet)
    a, b = drive(tmp_path / "was.csv", 0.0, 6.5), drive(tmp_path / "now.csv", 1.5)
    for _ in range(2):  # the same files again are the same recordings
        assert ask(str(a), str(b), "--job", "gate")["exit"] == 0
    kept = case("gate").state.recordings
    assert [r["caption"].split(":")[0] for r in kept] == ["Recording was.csv and now.csv"]
    assert any("lowest in cranking: 6.50 V before, 9.80 V after" in x for x in kept[0]["lines"])
    assert kept[0]["svg"].count('class="t1"') == 2
    assert len(list((tmp_path / "home").rglob("original.csv"))) == 2
    missing = ask(str(tmp_path / "none.csv"), "--job", "gate")
    assert (missing["exit"], missing["problems"][0]["code"]) == (2, "no-such-file")
    nobody = ask(str(a), "--job", "nobody")
    assert (nobody["exit"], nobody["problems"][0]["code"]) == (2, "no-such-job")


def test_two_files_of_one_name_keep_their_figures_apart(tmp_path: Path) -> None:
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
    a, b = drive(tmp_path / "a" / "x.csv", 0.0, 6.5), drive(tmp_path / "b" / "x.csv")
    lowest = {k: m["low"] for k, m in ask(str(a), str(b))["measures"].items() if "BAT" in k}
    assert sorted(round(v, 2) for v in lowest.values()) == [6.5, 9.8]


def test_rows_fit_the_terminal_and_show_the_sag(tmp_path: Path) -> None:
    text = ask(str(drive(tmp_path / "a.csv")))["text"]
    lines = text.splitlines()
    assert max(len(x) for x in lines) <= 80
    battery = next(x for x in lines if x.startswith("BAT.+"))[14 : 14 + COLUMNS]
    at = int(3.5 / 20 * COLUMNS)
    assert battery[at] == "▁"
    assert battery[-1] == "█"
    assert lines[0].strip().startswith("|")


@settings(max_examples=60, deadline=None)
@given(
    n=st.integers(1, 20_000), columns=st.integers(1, 700), factor=st.sampled_from([1.0, -2.0, 100.0]),
    seed=st.integers(0, 99),
)  # fmt: skip
def test_slices_hold_every_sample(n: int, columns: int, factor: float, seed: int) -> None:
    """Lowest and highest of all slices are those of the channel, whatever its scale: no spike is lost."""
    y = np.random.default_rng(seed).standard_normal(n)
    y[seed * n // 100] = 50.0
    c = channel("x", "V", RATE, y).clipped_to("x", None, factor, 0.25)
    t, low, high = slices(c, c.t0_s, c.end_s, columns)
    whole = c.values(0, n)
    assert t.shape == low.shape == high.shape
    assert low.min() == pytest.approx(whole.min(), rel=1e-6)
    assert high.max() == pytest.approx(whole.max(), rel=1e-6)
    assert (low <= high).all()
    assert (np.diff(t) > 0).all()
    assert c.t0_s - 1e-9 <= t[0] <= t[-1] <= c.end_s + 1e-9


@given(begin=st.floats(-1e4, 1e4), length=st.floats(1e-5, 1e5))
def test_ticks_are_round_and_few(begin: float, length: float) -> None:
    got = ticks(begin, begin + length)
    assert 2 <= len(got) <= 10
    step = got[1] - got[0]
    lead = step / 10 ** np.floor(np.log10(step) + 1e-6)
    assert min(abs(lead - m) for m in (1, 2, 5, 10)) < 0.01 * max(1.0, abs(begin) * 1e-9 / step)


def test_flat_short_and_many_channels_draw() -> None:
    for data in ([12.0], [0.0, 0.0], list(range(7))):
        c = Channel("x<&>", "", 0.1, 5.0, np.array(data, np.float32))
        seen = Seen(Recording("r", "csv", (c,)), (), ())
        drawn = svg(picture([seen], 500))
        ElementTree.fromstring(drawn)
        assert rows(picture([seen], COLUMNS)).count("\n") >= 2


def test_nothing_in_common_is_laid_by_the_beginnings() -> None:
    made = []
    for begin in (0.0, 100.0):
        c = Channel("x", "V", 0.1, begin, np.ones(10, np.float32))
        events = tuple(find_events([c]))
        made.append(Seen(Recording("r", "csv", (c,)), events, spans(events, begin, begin + 1)))
    assert [s.shift_s for s in aligned(made)] == [0.0, -100.0]


def test_no_words_of_the_picture_lie_over_each_other() -> None:
    """Short phases beside a long one, events close together, and a tick at the right edge: every text has its
    own place, estimated by its letters, and none leaves the picture."""
    phases = ((0, 20, "asleep"), (20, 30, "ignition-on"), (30, 31.2, "cranking"), (31.2, 1000, "running"),
              (1000, 1090, "after-run"), (1090, 1200, "asleep"))  # fmt: skip
    y = np.where(np.arange(120_000) % 7000 < 3500, 12.0, 0.0)
    channels = (channel("BAT.+", "V", 100, y), channel("K4.87", "V", 100, 12.0 - y))
    r = Recording("w.csv", "csv", channels)
    seen = Seen(r, find_events(r.channels), tuple(Span(name, a, b) for a, b, name in phases))
    drawn = svg(picture([seen], 500))
    boxes = []
    for x, y_at, style, words in re.findall(r'<text x="([\d.]+)" y="([\d.]+)"([^>]*)>([^<]*)</text>', drawn):
        wide, left = len(words) * 5.5, float(x)
        left -= wide if "end" in style else 0.0
        boxes.append((left, left + wide, float(y_at), words))
        assert left >= 0 and left + wide <= 720, words
    for k, (a, b, y1, one) in enumerate(boxes):
        for c, d, y2, two in boxes[k + 1 :]:
            assert abs(y1 - y2) >= 9 or b <= c or d <= a, (one, two)
    assert [w for *_, y_at, w in boxes if y_at == 14.0] == ["running", "asleep", "A", "E"]
