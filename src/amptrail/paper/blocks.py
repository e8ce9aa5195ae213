"""The document model: a paper is a size and a column of blocks; every text in it is data, never markup."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

Mark = Literal["yes", "no", "open"]


@dataclass(frozen=True, slots=True)
class Size:
    """Width, height and margin of a sheet, mm."""

    width_mm: float
    height_mm: float
    margin_mm: float


A4, LETTER = Size(210, 297, 18), Size(215.9, 279.4, 18)
SHEETS = {"a4": A4, "letter": LETTER}
HALF = {"a4": Size(210, 148.5, 11), "letter": Size(215.9, 139.7, 11)}
# Widths and heights that label rolls are sold in (common practice, from memory)
LABELS = {
    "62x29": Size(62, 29, 2), "62x100": Size(62, 100, 4), "57x32": Size(57, 32, 2),
    "76x25": Size(76, 25, 2), "102x51": Size(102, 51, 3),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading inside the paper."""

    text: str


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; `strong` where it must not be overlooked, `small` for the fine print."""

    text: str
    strong: bool = False
    small: bool = False


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution in a frame of its own."""

    text: str


@dataclass(frozen=True, slots=True)
class Pairs:
    """Names and values beside each other."""

    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table whose head is repeated on every page; `shares` of the width for its columns."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[float, ...]
    figures: int = 0  # so many last columns hold figures, set to the right


@dataclass(frozen=True, slots=True)
class Ticks:
    """A list with a mark each: shown, missing, still open."""

    rows: tuple[tuple[Mark, str], ...]


@dataclass(frozen=True, slots=True)
class Points:
    """A plain list."""

    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """Blocks beside each other, in frames."""

    columns: tuple[tuple[Any, ...], ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing (SVG text) with what it shows, for who cannot see it too."""

    svg: str
    caption: str
    own_page: bool = False  # as large as a page allows: turned where it is wide, in parts where it is huge


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photograph (JPEG or PNG, as base64 text)."""

    media: str
    base64: str
    caption: str


@dataclass(frozen=True, slots=True)
class Code:
    """A square code a phone can read, `mm` wide."""

    text: str
    mm: float = 16


@dataclass(frozen=True, slots=True)
class Lines:
    """Empty lines to write on by hand, each with a name before it."""

    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Signatures:
    """Places to sign, beside each other."""

    names: tuple[str, ...]


Block = (
    Heading
    | Text
    | Caution
    | Pairs
    | Table
    | Ticks
    | Points
    | Columns
    | Picture
    | Photograph
    | Code
    | Lines
    | Signatures
)


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper to hand over. `under` stands small at the foot of every page; `compact` for labels: no title
    line."""

    title: str
    size: Size
    blocks: tuple[Block, ...]
    under: str = ""
    compact: bool = False
    letters_pt: float = 10.5
    language: str = "en"

    def data(self) -> dict[str, Any]:
        """The paper as plain JSON; each block carries its kind."""
        return {
            "title": self.title, "size": asdict(self.size), "under": self.under, "compact": self.compact,
            "letters": self.letters_pt, "language": self.language, "blocks": [_plain(b) for b in self.blocks],
        }  # fmt: skip


def _plain(block: Any) -> dict[str, Any]:
    kind = type(block).__name__.lower()
    if isinstance(block, Columns):
        return {"kind": kind, "columns": [[_plain(b) for b in column] for column in block.columns]}
    return {"kind": kind, **{k: _lists(v) for k, v in asdict(block).items()}}


def _lists(value: Any) -> Any:
    """Tuples as the lists that JSON gives back."""
    return [_lists(v) for v in value] if isinstance(value, tuple) else value
