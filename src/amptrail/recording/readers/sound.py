"""WAV (RIFF, PCM 8 to 32 bit and float): the library parses the header, samples are taken block by block."""

from __future__ import annotations

import warnings
from io import BytesIO
from pathlib import Path

import numpy as np

from amptrail.errors import one
from amptrail.recording.channel import Channel, Recording
from amptrail.recording.readers import Asked
from amptrail.recording.spool import Spool

CHUNK = 1 << 20
HEADER = 1 << 16  # bytes in which the format and the beginning of the samples stand


def _whole_frames(path: Path) -> BytesIO:
    """The file up to its last whole frame: a copy that broke off seldom ends at one."""
    raw = path.read_bytes()
    fmt, begin = raw.find(b"fmt ", 0, HEADER), raw.find(b"data", 0, HEADER) + 8
    if fmt < 0 or begin < 8 or fmt + 22 > len(raw):
        return BytesIO(raw)
    frame = max(int.from_bytes(raw[fmt + 20 : fmt + 22], "little"), 1)
    said = int.from_bytes(raw[begin - 4 : begin], "little")
    if begin + said <= len(raw):  # not cut off
        return BytesIO(raw)
    return BytesIO(raw[: begin + (len(raw) - begin) // frame * frame])


def read(path: Path, asked: Asked) -> Recording:
    """Channels in parts of full scale (unit FS): a sound file does not know volts, the set-up says the
    factor."""
    from scipy.io import wavfile

    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            rate, data = wavfile.read(path, mmap=True)
        except Exception:
            try:  # 24 bit and cut-off files cannot be mapped
                rate, data = wavfile.read(_whole_frames(path))
            except Exception as e:
                raise one(
                    "broken-wav",
                    "the WAV file cannot be read: it is cut off, or no sound of plain samples",
                    remedy="copy it from the scope again",
                ) from e
    cut = [w for w in said if "EOF" in str(w.message)]
    notes = ["the file is cut off: what is there was read"] if cut else []
    notes += [str(w.message) for w in said if w not in cut]
    if data.shape[0] == 0 or rate <= 0:
        raise one("no-samples", "the WAV file holds no samples", remedy="copy it from the scope again")
    if data.ndim == 1:
        data = data[:, None]
    offset, full = (128.0, 128.0) if data.dtype == np.uint8 else (0.0, 1.0)
    if np.issubdtype(data.dtype, np.signedinteger):
        full = float(-np.iinfo(data.dtype).min)
    width = int(data.shape[1])
    if width == 1 and data.dtype == np.float32:
        maps = [data[:, 0]]
    else:
        spool = Spool(width)
        with spool:
            for first in range(0, int(data.shape[0]), CHUNK):
                part = np.asarray(data[first : first + CHUNK], np.float32)
                for k in range(width):
                    spool.add(k, (part[:, k] - np.float32(offset)) / np.float32(full))
        maps = spool.maps()
    dt = asked.interval_s or 1.0 / float(rate)
    got = tuple(Channel(f"channel {k + 1}", "FS", dt, 0.0, m) for k, m in enumerate(maps))
    return Recording(path.name, "wav", got, tuple(notes))
