"""What is laid out: nodes with pins above and below, and the nets that join the pins.

A node is one part, one cavity or one ground symbol; a net is one metal. Everything written beside a symbol
belongs to its node, so that a layout which keeps nodes apart also keeps all words apart. Sizes are px at the
drawing's own scale; x are multiples of `GRID`, so lines of two nets share a column or are a grid apart.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

GRID = 8
PIN_PX = 48  # between two pins of one part: a finger wide

Side = Literal["top", "bottom"]


def up_to_grid(px: float) -> int:
    """The next multiple of GRID."""
    return int(-(-px // GRID)) * GRID


@dataclass(eq=False, slots=True)
class Pin:
    """A terminal on the upper or lower edge of a node. `dx` from the node's anchor (rigid nodes only)."""

    terminal: str  # as the sheet spells it, "" for a pin the sheet has no name for
    net: int
    dx: int = 0
    left: int = 16  # what the pin's own words take to each side (stretching nodes only)
    right: int = 32
    words: tuple[str, ...] = ()
    also: tuple[str, ...] = ()  # a driver's or input's own name
    glyph: str = ""
    chip: str = ""  # what is read here
    never: bool = False  # must not be probed
    faded: bool = False  # the trail shown does not pass here

    @property
    def lead(self) -> str:
        """Class of the line that leads to this pin inside its symbol."""
        return "lead off" if self.faded else "lead"


@dataclass(eq=False, slots=True)
class Node:
    """A symbol with its words. `stretches`: its pins may move apart, in any order, and the symbol follows."""

    shape: str
    name: str  # the part or cavity, "" for what has none
    label: tuple[str, ...] = ()
    tops: list[Pin] = field(default_factory=list)
    bottoms: list[Pin] = field(default_factory=list)
    stretches: bool = False
    left: int = 24
    right: int = 24
    height: int = 48
    above: int = 0  # of `height`, kept for what is read at the upper pins
    below: int = 0  # the same at the lower pins
    lowest: bool = False  # ground symbols stand on the bottom line
    flipped: bool = False  # `in` below, `out` above
    covers: tuple[str, ...] = ()  # branch names a trail or a fault may mean
    beside: int = 24  # where the label starts, right of the anchor (or of the last pin)
    fed: bool = False  # part of a temporary feed
    closed: frozenset[str] = frozenset()  # contacts closed now: the part itself, `87`, `30-15`
    cut: bool = False  # cut open by a temporary feed
    fault: bool = False
    about: str = ""  # full words, for a tooltip
    order: int = 0
    contacts: tuple[tuple[str, str, str], ...] = ()  # terminals joined inside, and when

    def pins(self) -> list[Pin]:
        """All pins, upper first."""
        return [*self.tops, *self.bottoms]


@dataclass(frozen=True, slots=True)
class Graph:
    """Nodes in the order of the sheet; `metals[net]` is the canonical terminal of a net, as the sheet spells
    it; `body` metal is split so that every connection to it gets its own symbol."""

    nodes: tuple[Node, ...]
    metals: tuple[str, ...]
