"""Where everything stands from top to bottom: as tight as what lies above and below allows.

Symbols and horizontal lines keep the order they have in every column they share; so no line is ever pushed
through a symbol, and nothing waits for a taller neighbour in its layer.
"""

from __future__ import annotations

from dataclasses import dataclass

from amptrail.draw.channels import Run
from amptrail.draw.graph import Node

TRACK = 10  # between two horizontal lines
STUB = 6  # between a symbol and anything
SIDE = 6  # columns closer than this are shared


@dataclass(eq=False, slots=True)
class Box:
    """A node in place: x of its anchor, the columns it takes, y of its upper edge."""

    node: Node
    layer: int
    anchor: int
    left: int
    right: int
    y: int = 0

    @property
    def bottom(self) -> int:
        """y of the lower edge."""
        return self.y + self.node.height


Thing = Box | Run


def _columns(t: Thing) -> tuple[int, int]:
    return (t.left, t.right) if isinstance(t, Box) else (t.low, t.high)


def _gap(upper: Thing, lower: Thing) -> int:
    if isinstance(upper, Run) and isinstance(lower, Run):
        return TRACK
    return STUB + (0 if isinstance(upper, Box) and isinstance(lower, Box) else 2)


def _by_track(run: Run) -> tuple[int, int]:
    return run.track, run.low


def stack(boxes: list[Box], channels: list[list[Run]]) -> int:
    """Set `y` of everything; returns the height. `channels[c]` lies above layer c."""
    things: list[Thing] = []
    for c, runs in enumerate(channels):
        in_turn = sorted(runs, key=_by_track)
        things += in_turn
        things += [b for b in boxes if b.layer == c]
    for i, t in enumerate(things):
        low, high = _columns(t)
        at = 0
        for o in things[:i]:
            o_low, o_high = _columns(o)
            if o_low - SIDE < high and low < o_high + SIDE:
                below = o.bottom if isinstance(o, Box) else o.y
                same_row = isinstance(o, Box) and isinstance(t, Box) and o.layer == t.layer
                if not same_row:
                    at = max(at, below + _gap(o, t))
        t.y = at
    total = max((b.bottom for b in boxes), default=0)
    feet = [b for b in boxes if b.node.lowest]
    floor = max((b.bottom - b.node.height for b in feet), default=0)
    for b in feet:
        b.y = floor
    total = max((b.bottom for b in boxes), default=total)
    return max(total, max((r.y for runs in channels for r in runs), default=0))
