"""Photographs made fit for paper: what a camera writes beside the picture stays behind.

JPEG (ITU-T T.81, segments of annex B; Exif of CIPA DC-008) and PNG (ISO/IEC 15948, chunks) are walked, not
decoded: only what is needed to show the picture, and which way up it is, goes on.
"""

from __future__ import annotations

import struct

KEPT_CHUNKS = (
    b"IHDR",
    b"PLTE",
    b"tRNS",
    b"IDAT",
    b"IEND",
    b"gAMA",
    b"cHRM",
    b"sRGB",
    b"iCCP",
    b"sBIT",
    b"pHYs",
)
PNG = b"\x89PNG\r\n\x1a\n"
ORIENTATION = 0x0112
APP0, APP1, APP2, APP14, APP15, COMMENT, SCAN = 0xE0, 0xE1, 0xE2, 0xEE, 0xEF, 0xFE, 0xDA


def paperworthy(content: bytes, media: str) -> bytes | None:
    """The picture without place, device and date; None when it is no whole picture."""
    try:
        return _png(content) if media == "image/png" else _jpeg(content)
    except (struct.error, IndexError, ValueError):
        return None


def _png(content: bytes) -> bytes:
    if not content.startswith(PNG):
        raise ValueError("no PNG")
    out, at = bytearray(PNG), len(PNG)
    while True:
        (length,) = struct.unpack(">I", content[at : at + 4])
        kind, end = content[at + 4 : at + 8], at + 12 + length
        if end > len(content):
            raise ValueError("cut off")
        if kind in KEPT_CHUNKS:
            out += content[at:end]
        at = end
        if kind == b"IEND":
            return bytes(out)


def _jpeg(content: bytes) -> bytes:
    if not content.startswith(b"\xff\xd8") or b"\xff\xd9" not in content[-64:]:
        raise ValueError("no whole JPEG")
    out, at = bytearray(b"\xff\xd8"), 2
    turned: int | None = None
    while True:
        if content[at] != 0xFF:
            raise ValueError("no marker")
        marker = content[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        (length,) = struct.unpack(">H", content[at + 2 : at + 4])
        segment = content[at : at + 2 + length]
        if len(segment) != 2 + length:
            raise ValueError("cut off")
        if marker == APP1:
            turned = turned or _orientation(segment[4:])
        elif marker == SCAN:
            head = _upright(turned) if turned and turned != 1 else b""
            return bytes(out[:2]) + head + bytes(out[2:]) + content[at:]
        elif marker in (APP0, APP2, APP14) or not (APP0 <= marker <= APP15 or marker == COMMENT):
            out += segment  # JFIF, colour profile, colour transform; tables and frames
        at += 2 + length


def _orientation(exif: bytes) -> int | None:
    """Which way up the camera was held (1 to 8), from an Exif segment."""
    if not exif.startswith(b"Exif\0\0"):
        return None
    tiff = exif[6:]
    order = {b"II": "<", b"MM": ">"}.get(tiff[:2])
    if order is None:
        return None
    (first,) = struct.unpack(order + "I", tiff[4:8])
    (count,) = struct.unpack(order + "H", tiff[first : first + 2])
    for n in range(count):
        entry = tiff[first + 2 + 12 * n : first + 14 + 12 * n]
        tag, _, _, value = struct.unpack(order + "HHIH", entry[:10])
        if tag == ORIENTATION:
            return int(value) if 1 <= value <= 8 else None
    return None


def _upright(turned: int) -> bytes:
    """An Exif segment that says which way up the picture is, and nothing else."""
    tiff = b"MM\0*" + struct.pack(">IHHHIHHI", 8, 1, ORIENTATION, 3, 1, turned, 0, 0)
    body = b"Exif\0\0" + tiff
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body
