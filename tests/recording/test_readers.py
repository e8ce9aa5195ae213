"""Every format read back as its own library wrote it; tables of any scope; files that are broken."""

from __future__ import annotations

import gc
import wave
from pathlib import Path

import numpy as np
import pytest
from signals import table

from amptrail.errors import InputError
from amptrail.recording import open_recording
from amptrail.recording.readers import Asked

T = np.arange(500) * 0.002
A = np.sin(T * 20) * 5 + 7
B = np.where(T > 0.4, 12.25, 0.0)


@pytest.mark.parametrize(
    ("head", "divided", "comma"),
    [
        ("Time (s),CH1 (V),CH2 (V)\n", ",", False),
        ("Zeit;CH1;CH2\n(s);(V);(V)\n\n", ";", True),
        ("made on a bench\nnumber of rows\t500\n\nt\tCH1\tCH2\ns\tV\tV\n", "\t", False),
        ('"Time","CH1","CH2"\n"s","V","V"\n', ",", False),
        ("", ",", False),
        ("time CH1 CH2\n", " ", False),
    ],
)
def test_tables_of_any_scope(tmp_path: Path, head: str, divided: str, comma: bool) -> None:
    got = open_recording(table(tmp_path / "x.csv", head, [T, A, B], divided, comma))
    assert [c.samples for c in got.channels] == [500, 500]
    first = got.channels[0]
    assert first.dt_s == pytest.approx(0.002, rel=1e-9)
    np.testing.assert_allclose(first.values(0, 500), A, rtol=1e-6)
    np.testing.assert_allclose(got.channels[1].values(0, 500), B, rtol=1e-6)
    if head:
        assert [c.name for c in got.channels] == ["CH1", "CH2"]
    if "V" in head:
        assert first.unit == "V"


def test_units_of_thousandths_become_si(tmp_path: Path) -> None:
    got = open_recording(
        table(tmp_path / "x.csv", "t (ms),drop (mV),draw (mA)\n", [T * 1000, A * 1000, B * 1000])
    )
    assert got.channels[0].dt_s == pytest.approx(0.002)
    assert [c.unit for c in got.channels] == ["V", "A"]
    np.testing.assert_allclose(got.channels[0].values(0, 500), A, rtol=1e-5)


def test_an_interval_in_the_head(tmp_path: Path) -> None:
    got = open_recording(table(tmp_path / "x.csv", "Sample interval: 0.5 ms\nCH1,CH2\n", [A, B]))
    assert got.channels[0].dt_s == pytest.approx(5e-4)
    got = open_recording(
        table(tmp_path / "y.csv", "Sample rate,2000,Hz\nsample,CH1,CH2\n", [np.arange(500), A, B])
    )
    assert got.channels[0].dt_s == pytest.approx(5e-4)
    assert [c.name for c in got.channels] == ["CH1", "CH2"]


def test_no_interval_anywhere_is_said(tmp_path: Path) -> None:
    got = open_recording(table(tmp_path / "x.csv", "CH1,CH2\n", [A, B]))
    assert any("--interval" in n for n in got.notes)
    assert open_recording(tmp_path / "x.csv", Asked(interval_s=0.01)).channels[0].dt_s == 0.01


def test_time_written_as_a_clock(tmp_path: Path) -> None:
    rows = "".join(f"12:{k // 60:02d}:{k % 60:02d}.000,{k % 7}\n" for k in range(150))
    (tmp_path / "x.csv").write_text("Time,CH1\n" + rows)
    got = open_recording(tmp_path / "x.csv")
    assert got.channels[0].dt_s == pytest.approx(1.0)
    assert got.channels[0].samples == 150


def test_holes_and_steps_back(tmp_path: Path) -> None:
    keep = np.ones(500, bool)
    keep[100:110] = False
    t = np.concatenate((T[keep][:300], T[keep][250:]))
    y = np.concatenate((A[keep][:300], A[keep][250:]))
    got = open_recording(table(tmp_path / "x.csv", "time,CH1\n", [t, y]))
    c = got.channels[0]
    assert c.samples == 500
    np.testing.assert_allclose(c.values(0, 100), A[:100], rtol=1e-6)
    np.testing.assert_allclose(c.values(110, 500), A[110:], rtol=1e-6)
    np.testing.assert_allclose(c.values(100, 110), A[99], rtol=1e-6)
    assert any("10 samples are missing" in n for n in got.notes)
    assert any("50 samples did not move ahead" in n for n in got.notes)


def test_cells_that_are_no_numbers(tmp_path: Path) -> None:
    lines = [f"{k * 0.001:.3f},{k}" for k in range(1000)]
    lines[500] = "0.500,"
    lines[501] = "0.501,NaN"
    lines[700] = "Time,CH1"
    lines[800] = "0.800,broken,row,long"
    (tmp_path / "x.csv").write_text("Time,CH1\n" + "\n".join(lines) + "\n0.99")
    got = open_recording(tmp_path / "x.csv")
    x = got.channels[0].values(0, got.channels[0].samples)
    assert np.isfinite(x).all()
    assert x[500] == x[501] == 499
    assert x[999] == 999
    assert any("left out" in n for n in got.notes)


def test_text_beside_the_numbers_late_in_a_long_table(tmp_path: Path) -> None:
    """What the fast parser cannot read is read cell by cell, and nothing twice."""
    rows = [f"{k * 1e-3:.3f},{k % 100}" for k in range(200_000)]
    rows[150_000] = "150.000,over"
    (tmp_path / "x.csv").write_text("Time,CH1\n" + "\n".join(rows) + "\n")
    got = open_recording(tmp_path / "x.csv")
    assert got.channels[0].samples == 200_000
    assert got.channels[0].values(150_000, 150_001)[0] == 149_999 % 100


@pytest.mark.parametrize("bits", [8, 16, 32])
def test_wav(tmp_path: Path, bits: int) -> None:
    full = 2 ** (bits - 1)
    x = np.round((A - 7) / 6 * (full - 1))
    raw = (x + 128).astype(np.uint8) if bits == 8 else x.astype(f"<i{bits // 8}")
    with wave.open(str(tmp_path / "x.wav"), "wb") as f:
        f.setnchannels(2)
        f.setsampwidth(bits // 8)
        f.setframerate(500)
        f.writeframes(np.column_stack((raw, raw)).tobytes())
    got = open_recording(tmp_path / "x.wav")
    assert [c.samples for c in got.channels] == [500, 500]
    assert got.channels[0].dt_s == pytest.approx(0.002)
    np.testing.assert_allclose(got.channels[1].values(0, 500), x / full, atol=2e-7)


def test_vcd(tmp_path: Path) -> None:
    from vcd import VCDWriter

    with (tmp_path / "x.vcd").open("w") as f, VCDWriter(f, timescale="1 us") as w:
        bit = w.register_var("bench", "relay", "wire", size=1, init=0)
        level = w.register_var("bench", "supply", "real", init=12.5)
        for t, v in ((1000, 1), (3500, 0), (7000, 1)):
            w.change(bit, t, v)
        w.change(level, 9000, 9.5)
    got = open_recording(tmp_path / "x.vcd")
    relay, supply = got.channel("relay"), got.channel("supply")
    assert relay and supply
    for t, v in ((0.0, 0), (0.0010, 1), (0.0030, 1), (0.0035, 0), (0.0075, 1)):
        k = relay.index(t)
        assert relay.values(k, k + 1)[0] == v
    assert supply.values(0, 1)[0] == 12.5
    assert supply.values(supply.samples - 1, supply.samples)[0] == 9.5


def test_parquet(tmp_path: Path) -> None:
    import pyarrow as pa
    from pyarrow import parquet

    parquet.write_table(
        pa.table({"time (ms)": T * 1000, "CH1 (V)": A, "note": ["x"] * 500}), tmp_path / "x.parquet"
    )
    got = open_recording(tmp_path / "x.parquet")
    assert [c.name for c in got.channels] == ["CH1"]
    assert got.channels[0].dt_s == pytest.approx(0.002)
    np.testing.assert_allclose(got.channels[0].values(0, 500), A, rtol=1e-6)


def test_mdf(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    with asammdf.MDF(version="4.10") as f:
        f.append(
            [asammdf.Signal(A, T, name="CH1", unit="V"), asammdf.Signal(B * 1000, T, name="W1", unit="mA")]
        )
        f.save(tmp_path / "x.mf4")
    got = open_recording(tmp_path / "x.mf4")
    assert [(c.name, c.unit, c.samples) for c in got.channels] == [("CH1", "V", 500), ("W1", "A", 500)]
    np.testing.assert_allclose(got.channels[0].values(0, 500), A, rtol=1e-6)
    np.testing.assert_allclose(got.channels[1].values(0, 500), B, rtol=1e-6)


@pytest.mark.parametrize("squeezed", [0, 1, 2], ids=["plain", "deflated", "transposed"])
@pytest.mark.parametrize("uneven", [False, True])
def test_mdf_straight_from_its_blocks(tmp_path: Path, squeezed: int, uneven: bool) -> None:
    """Long groups (records across block borders), integers with a conversion, two groups: as the library
    that wrote them reads them back."""
    asammdf = pytest.importorskip("asammdf")
    from asammdf.blocks.v4_blocks import ChannelConversion

    n = 700_000
    t = np.arange(n) * 1e-4
    if uneven:
        t = np.delete(t, slice(300_000, 300_050))
    rng = np.random.default_rng(1)
    counts = rng.integers(-2000, 2000, t.shape[0]).astype(np.int16)
    volts = (12 + rng.standard_normal(t.shape[0])).astype(np.float32)
    scaled = ChannelConversion(conversion_type=1, a=0.005, b=-0.25)
    with asammdf.MDF(version="4.10") as f:
        f.append([asammdf.Signal(counts, t, name="CH1", unit="V", conversion=scaled),
                  asammdf.Signal(volts, t, name="CH2", unit="mV")])  # fmt: skip
        f.append([asammdf.Signal(B, T, name="W1", unit="A")])
        f.save(tmp_path / "x.mf4", compression=squeezed)
    got = open_recording(tmp_path / "x.mf4")
    assert [(c.name, c.unit) for c in got.channels] == [("CH1", "V"), ("CH2", "V"), ("W1", "A")]
    assert got.channels[0].samples == n
    assert got.channels[0].dt_s == pytest.approx(1e-4, rel=1e-9)
    with asammdf.MDF(tmp_path / "x.mf4") as f:
        theirs = f.get("CH1"), f.get("CH2")
    at = np.rint(theirs[0].timestamps / 1e-4).astype(int)
    np.testing.assert_allclose(got.channels[0].values(0, n)[at], theirs[0].samples, rtol=1e-5, atol=1e-6)
    np.testing.assert_allclose(got.channels[1].values(0, n)[at], theirs[1].samples / 1000, rtol=1e-5)
    assert any("50 samples are missing" in x for x in got.notes) is uneven


def test_npy(tmp_path: Path) -> None:
    np.save(tmp_path / "x.npy", np.column_stack((A, B)).astype(np.float32))
    got = open_recording(tmp_path / "x.npy", Asked(interval_s=0.002))
    np.testing.assert_allclose(got.channels[0].values(0, 500), A, rtol=1e-6)


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("x.csv", b"", "empty-file"),
        ("x.csv", b"nothing here\nbut words\n", "no-table"),
        ("x.bin", b"\0\1\2\3" * 100, "unknown-format"),
        ("x.wav", b"RIFF\x24\x00\x00\x00WAVEfmt ", "broken-wav"),
        ("x.parquet", b"PAR1 and then nothing", "broken-parquet"),
        ("x.npy", b"\x93NUMPY\x01\x00", "broken-npy"),
        ("x.mf4", b"MDF     4.10    and then nothing", "broken-mdf"),
        ("x.vcd", b"$timescale 1 us $end\n$enddefinitions $end\n", "no-samples"),
        ("x.csv", b"Time,CH1\n1,2\n1,3\n1,4\n", "time-stands-still"),
    ],
)
def test_broken_files_are_told(tmp_path: Path, name: str, content: bytes, code: str) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError) as e:
        open_recording(tmp_path / name)
    assert e.value.problems[0].code == code
    assert e.value.problems[0].remedy
    del e
    gc.collect()  # what the MDF library says while it goes belongs to this test


def test_a_text_file_named_wav_is_read_for_what_it_is(tmp_path: Path) -> None:
    got = open_recording(table(tmp_path / "x.wav", "Time,CH1\n", [T, A]))
    assert got.format == "csv"
    assert "CSV" in got.notes[0]


def test_a_file_far_too_large_is_refused_before_it_is_read(tmp_path: Path) -> None:
    with (tmp_path / "x.csv").open("wb") as f:
        f.truncate(10_000_000_000)  # a hole: takes no room
    with pytest.raises(InputError) as e:
        open_recording(tmp_path / "x.csv")
    assert e.value.problems[0].code == "too-large"


@pytest.mark.parametrize("channels", [1, 2, 3, 4])
@pytest.mark.parametrize("width", [1, 2, 3, 4])
@pytest.mark.parametrize("missing", [600, 601, 607])
def test_a_truncated_wav_gives_what_there_is(tmp_path: Path, channels: int, width: int, missing: int) -> None:
    """Cut anywhere, also within a frame: every whole frame is read."""
    with wave.open(str(tmp_path / "x.wav"), "wb") as f:
        f.setnchannels(channels)
        f.setsampwidth(width)
        f.setframerate(1000)
        f.writeframes(bytes(range(250)) * 4 * channels * width)
    whole = (tmp_path / "x.wav").read_bytes()
    (tmp_path / "x.wav").write_bytes(whole[: len(whole) - missing])
    got = open_recording(tmp_path / "x.wav")
    frames = 1000 - -(-missing // (channels * width))
    assert [c.samples for c in got.channels] == [frames] * channels
    assert "cut off" in got.notes[0]


def lines(times: np.ndarray, values: np.ndarray) -> list[str]:
    return [f"{t:.4f},{v:.4f}" for t, v in zip(times, values, strict=True)]


def test_time_running_backwards_is_turned_round(tmp_path: Path) -> None:
    (tmp_path / "x.csv").write_text("time,CH1\n" + "\n".join(lines(T[::-1], A[::-1])) + "\n")
    got = open_recording(tmp_path / "x.csv")
    np.testing.assert_allclose(got.channels[0].values(0, 500), A, atol=1e-4)
    assert got.channels[0].t0_s == pytest.approx(0.0, abs=1e-9)
    assert any("turned round" in n for n in got.notes)


def test_one_stray_instant_loses_nothing_else(tmp_path: Path) -> None:
    """A cell broken by a cut cable between two lines: everything after it is still read."""
    rows = lines(T, A)
    rows[200] = "770.0000,1.0"
    (tmp_path / "x.csv").write_text("time,CH1\n" + "\n".join(rows) + "\n")
    got = open_recording(tmp_path / "x.csv").channels[0]
    assert got.samples == 500
    np.testing.assert_allclose(got.values(201, 500), A[201:], atol=1e-4)


@pytest.mark.parametrize("at", [1, 300])
def test_two_headers(tmp_path: Path, at: int) -> None:
    """The second one under the first, or in the middle: read round it, and it is told."""
    rows = ["time,CH1", *lines(T, A)]
    rows.insert(at, "time (s),CH1 (V)")
    (tmp_path / "x.csv").write_text("\n".join(rows) + "\n")
    got = open_recording(tmp_path / "x.csv")
    assert [c.samples for c in got.channels] == [500]
    np.testing.assert_allclose(got.channels[0].values(0, 500), A, atol=1e-4)
    assert at == 1 or any("another shape" in n or "no number" in n for n in got.notes)


def test_two_recordings_in_one_table(tmp_path: Path) -> None:
    rows = ["time,CH1", *lines(T, A), "", "time,CH1", *lines(T, A + 100)]
    (tmp_path / "x.csv").write_text("\n".join(rows) + "\n")
    got = open_recording(tmp_path / "x.csv")
    np.testing.assert_allclose(got.channels[0].values(0, 500), A, atol=1e-4)
    assert any("a second recording" in n for n in got.notes)


def test_a_column_without_a_number_is_left_out(tmp_path: Path) -> None:
    rows = [f"{t:.4f},{a:.4f},,nan" for t, a in zip(T, A, strict=True)]
    (tmp_path / "x.csv").write_text("time,CH1,CH2,CH3\n" + "\n".join(rows) + "\n")
    got = open_recording(tmp_path / "x.csv")
    assert [c.name for c in got.channels] == ["CH1"]
    assert any("CH2, CH3: not a number in it" in n for n in got.notes)
    (tmp_path / "y.csv").write_text("time,CH1\n" + "\n".join(f"{t:.4f},nan" for t in T) + "\n")
    with pytest.raises(InputError) as e:
        open_recording(tmp_path / "y.csv")
    assert e.value.problems[0].code == "no-samples"


def test_truncated_files_give_what_there_is(tmp_path: Path) -> None:
    np.save(tmp_path / "x.npy", A)
    whole = (tmp_path / "x.npy").read_bytes()
    (tmp_path / "x.npy").write_bytes(whole[: len(whole) - 8 * 120 - 3])
    got = open_recording(tmp_path / "x.npy", Asked(interval_s=0.002))
    np.testing.assert_allclose(got.channels[0].values(0, 379), A[:379], rtol=1e-6)
    assert got.channels[0].samples == 379
    assert any("ends early" in n for n in got.notes)
    text = "time,CH1\n" + "\n".join(lines(T, A))
    (tmp_path / "x.csv").write_text(text[: len(text) // 2])
    cut = open_recording(tmp_path / "x.csv").channels[0]
    assert 230 < cut.samples < 270
    np.testing.assert_allclose(cut.values(0, 230), A[:230], atol=1e-4)
    vcd = "$timescale 1 us $end\n$var wire 1 ! a $end\n$enddefinitions $end\n#0\n0!\n#10\n1!\n#30\n"
    (tmp_path / "x.vcd").write_text(vcd)
    assert open_recording(tmp_path / "x.vcd").channels[0].samples >= 2


def test_nothing_is_printed_of_a_broken_file(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("asammdf")
    (tmp_path / "x.mf4").write_bytes(b"MDF     4.10    and then nothing" + b"\0" * 500)
    with pytest.raises(InputError) as e:
        open_recording(tmp_path / "x.mf4")
    del e
    gc.collect()
    assert "Traceback" not in "".join(capfd.readouterr())


def test_utf16_and_latin1(tmp_path: Path) -> None:
    text = "Zeit (s);Größe (V)\n" + "".join(f"{k / 100:.2f};{k}\n" for k in range(100))
    for encoding in ("utf-16", "latin-1", "utf-8-sig"):
        (tmp_path / "x.csv").write_bytes(text.encode(encoding))
        got = open_recording(tmp_path / "x.csv")
        assert (got.channels[0].name, got.channels[0].samples) == ("Größe", 100), encoding
