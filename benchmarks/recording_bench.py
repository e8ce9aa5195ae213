"""How fast a long recording opens, is searched and is zoomed: against plain numpy and the bare reader.

Run: python -m benchmarks.recording_bench [--samples N]. Files are made on the spot (a tenth of a second of
contact drop-outs in noise at 100 kHz) and deleted; every format is measured in a process of its own.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

RATE = 100_000
PERIOD = 1_000_000  # samples from one pull-in to the next
CHUNK = 1 << 22
ZOOMS = 40
SCREEN = 1200  # columns of a page
TABLE_SHARE = 10  # a table has so many times fewer rows: it is text


def signal(first: int, last: int) -> np.ndarray:
    """Samples of a contact: 12 V for half of every period, 12 ms away in the middle, noise 0.1 V."""
    k = np.arange(first, last) % PERIOD
    half = PERIOD // 2
    on = (k > half // 2) & (k < half // 2 + half) & ~((k > half) & (k < half + 1200))
    grain = np.random.default_rng(first).standard_normal(last - first, np.float32)
    return (12.0 * on).astype(np.float32) + np.float32(0.1) * grain


def make(folder: Path, samples: int) -> dict[str, Path]:
    """A WAV and an array of so many samples, and a table of some."""
    bare = np.lib.format.open_memmap(folder / "long.npy", "w+", np.float32, (samples,))
    for first in range(0, samples, CHUNK):
        last = min(first + CHUNK, samples)
        bare[first:last] = signal(first, last)
    bare.flush()
    size = samples * 4
    with (folder / "long.wav").open("wb") as f:  # header: RIFF, float (format 3), mono
        head = [b"RIFF", (36 + size).to_bytes(4, "little"), b"WAVEfmt ", (16).to_bytes(4, "little")]
        head += [(3).to_bytes(2, "little"), (1).to_bytes(2, "little"), RATE.to_bytes(4, "little")]
        head += [(RATE * 4).to_bytes(4, "little"), (4).to_bytes(2, "little"), (32).to_bytes(2, "little")]
        f.write(b"".join([*head, b"data", size.to_bytes(4, "little")]))
        for first in range(0, samples, CHUNK):
            bare[first : first + CHUNK].tofile(f)
    rows = max(samples // TABLE_SHARE, 1000)
    part = bare[:rows]
    import pyarrow as pa
    from pyarrow import csv

    columns = {"time (s)": np.arange(rows) / RATE, "A.87 (V)": part, "B.87 (V)": part[::-1]}
    csv.write_csv(pa.table(columns), folder / "long.csv")
    mdf = _mdf(folder / "long.mf4", bare)
    return {
        **mdf,
        "WAV": folder / "long.wav",
        "float32 array": folder / "long.npy",
        "CSV": folder / "long.csv",
    }


def _mdf(path: Path, bare: np.ndarray) -> dict[str, Path]:
    """The same samples with their instants as MDF4, written by its library; nothing where that is missing."""
    try:
        from asammdf import MDF, Signal
    except ImportError:
        return {}
    with MDF(version="4.10") as f:
        for first in range(0, bare.shape[0], CHUNK):
            y = np.asarray(bare[first : first + CHUNK])
            t = np.arange(first, first + y.shape[0]) / RATE
            if first == 0:
                f.append([Signal(y, t, name="K.87", unit="V")])
            else:
                f.extend(0, [(t, None), (y, None)])
        f.save(path, overwrite=True)
    return {"MDF4": path}


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.perf_counter()
    got = work()
    return time.perf_counter() - begin, got


def bandwidth() -> float:
    """GB/s of a copy in memory (read and write counted), best of three."""
    a = np.ones(50_000_000, np.float32)
    b = np.empty_like(a)
    return 2 * a.nbytes / min(timed(lambda: np.copyto(b, a))[0] for _ in range(3)) / 1e9


def peak_mb() -> float:
    """Most memory this process has had, MB (the kernel says so; not that of its parent)."""
    words = Path("/proc/self/status").read_text().split()
    return int(words[words.index("VmHWM:") + 1]) / 1024


def measured(path: Path) -> dict[str, float]:
    """Figures of one file, in this process."""
    from amptrail.recording import find_events, open_recording
    from amptrail.recording.channel import Recording
    from amptrail.recording.clips import clipped
    from amptrail.recording.picture import Seen, picture
    from amptrail.recording.readers import Asked
    from amptrail.recording.svg import COLUMNS, svg
    from amptrail.recording.wire import packed

    def plain() -> None:
        data = np.memmap(path, np.float32, "r", offset=128)
        for first in range(0, data.shape[0], CHUNK):
            part = data[first : first + CHUNK]
            part.min(), part.max(), part.mean()

    def bare() -> None:
        from pyarrow import csv

        for _ in csv.open_csv(path, csv.ReadOptions(block_size=1 << 23)):
            pass

    def opened() -> Recording:
        got = open_recording(path, Asked(interval_s=1 / RATE))
        said = [] if path.suffix == ".csv" else [f"{got.channels[0].name}=K.87 x 1"]
        return clipped(got, said)

    import pyarrow.csv  # noqa: F401  loaded beforehand: both readers are compared warm

    reading, got = timed(opened)
    drawing, _ = timed(lambda: svg(picture([Seen(got, (), ())], COLUMNS)))
    finding, events = timed(lambda: find_events(got.channels))
    c = got.channels[0]
    rng = np.random.default_rng(1)
    length = c.end_s - c.t0_s
    zooms = []
    for _ in range(ZOOMS):
        wide = length * 10.0 ** rng.uniform(-5, 0)
        begin = c.t0_s + rng.uniform(0, length - wide)
        # as the page asks: the stretch and as much again on either side
        asked = partial(packed, [Seen(got, (), ())], begin - wide, begin + 2 * wide, 3 * SCREEN)
        zooms.append(timed(asked)[0])
    peak = peak_mb()  # before the peer maps the whole file
    least = min(timed(bare if path.suffix == ".csv" else plain)[0] for _ in range(2))
    return {
        "samples": c.samples, "bytes": path.stat().st_size, "plain": least, "read": reading,
        "picture": reading + drawing, "events": finding, "found": len(events), "zoom": max(zooms),
        "peak": peak,
    }  # fmt: skip


def line(name: str, m: dict[str, float], gbs: float) -> str:
    """One row: the first picture, as a ratio to the plain pass over the file, and to memory alone."""
    memory = m["bytes"] / 1e9 / gbs
    ratio = m["read"] / m["plain"] if name == "CSV" else m["picture"] / m["plain"]
    return (
        f"{name:15}{m['samples'] / 1e6:9.1f}{m['picture']:11.2f}{m['plain']:9.2f}{ratio:8.2f}"
        f"{m['picture'] / memory:9.1f}{m['events']:10.2f}{m['found']:7.0f}"
        f"{m['zoom'] * 1000:9.1f}{m['peak']:9.0f}"
    )


def main() -> None:
    """Make, measure, print."""
    parser = argparse.ArgumentParser(description="benchmarks of recordings")
    parser.add_argument("--samples", type=int, default=100_000_000)
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.measure is not None:
        print(json.dumps(measured(asked.measure)))
        return
    gbs = bandwidth()
    head = (
        f"{'':15}{'M samples':>9}{'picture s':>11}{'plain s':>9}{'ratio':>8}{'x memory':>9}{'events s':>10}"
    )
    lines = [
        f"memory {gbs:.1f} GB/s, load {os.getloadavg()[0]:.1f}",
        head + f"{'found':>7}{'zoom ms':>9}{'MB':>9}",
    ]
    with tempfile.TemporaryDirectory() as folder:
        for name, path in make(Path(folder), asked.samples).items():
            done = subprocess.run(
                [sys.executable, "-m", "benchmarks.recording_bench", "--measure", str(path)],
                capture_output=True, text=True, check=True,
            )  # fmt: skip
            lines.append(line(name, json.loads(done.stdout), gbs))
    lines += [
        "plain: min, max, mean of the file by numpy (CSV: the bare pyarrow reader); ratio: first picture",
        "to it (CSV: reading to it); x memory: first picture to one pass over its bytes at that speed;",
        f"zoom: slowest of {ZOOMS} stretches of any width, as the page asks for them, {3 * SCREEN} columns;",
        "MB: most memory (pages of mapped files count).",
    ]
    print("\n".join(lines))


if __name__ == "__main__":
    main()
