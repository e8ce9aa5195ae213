"""A drawing on pages of its own: upright or turned, whichever is larger; in parts where its letters would be
too small to read."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from amptrail.paper.blocks import Size

LETTER_PX = 11.0  # of the small words in a drawing (`amptrail.draw.text`)
LEAST_PT = 5.0  # letters smaller than this are not read at arm's length (common practice)
MOST_PT_PX = 0.8  # a small drawing is not blown up
OVERLAP_PX = 110.0  # a word cut off at the edge of one part is whole in the next
CAPTION_MM = 9.0
FOOT_MM = 4.0
PT_MM = 72 / 25.4
ROOT = re.compile(r'viewBox="([-\d.e ]+)" width="[^"]+" height="[^"]+"')


@dataclass(frozen=True, slots=True)
class Plate:
    """One page of a drawing: its SVG, whether the page is turned, its width and height in points."""

    svg: str
    turned: bool
    width_pt: float
    height_pt: float


def _room(size: Size, turned: bool) -> tuple[float, float]:
    wide = size.width_mm - 2 * size.margin_mm
    high = size.height_mm - 2 * size.margin_mm
    if turned:
        wide, high = high, wide
    return wide * PT_MM, (high - CAPTION_MM - FOOT_MM) * PT_MM


def _parts(length_px: float, room_pt: float, scale: float) -> tuple[int, float]:
    """How many pieces a side is cut into, and how long each is."""
    most = room_pt / scale
    if length_px <= most + 1e-6:
        return 1, length_px
    count = math.ceil((length_px - OVERLAP_PX) / (most - OVERLAP_PX))
    return count, (length_px + (count - 1) * OVERLAP_PX) / count


def plates(svg: str, size: Size) -> tuple[Plate, ...]:
    """The pages of a drawing, in reading order. A drawing without a plain viewBox is one page as it is."""
    found = ROOT.search(svg)
    if found is None:
        wide, high = _room(size, False)
        return (Plate(svg, False, wide, high),)
    x0, y0, width, height = (float(v) for v in found[1].split())
    ways = []
    for turned in (False, True):
        wide, high = _room(size, turned)
        whole = min(wide / width, high / height, MOST_PT_PX)
        scale = max(whole, LEAST_PT / LETTER_PX)
        (nx, w), (ny, h) = _parts(width, wide, scale), _parts(height, high, scale)
        fit = min(wide / w, high / h, MOST_PT_PX)
        ways.append((nx * ny, -fit, turned, nx, w, ny, h))
    _, fit, turned, nx, w, ny, h = min(ways)
    out = []
    for row in range(ny):
        for column in range(nx):
            x = x0 + column * (w - OVERLAP_PX if nx > 1 else w)
            y = y0 + row * (h - OVERLAP_PX if ny > 1 else h)
            view = f'viewBox="{x:g} {y:g} {w:g} {h:g}" width="{w:g}" height="{h:g}"'
            out.append(Plate(svg[: found.start()] + view + svg[found.end() :], turned, -fit * w, -fit * h))
    return tuple(out)
