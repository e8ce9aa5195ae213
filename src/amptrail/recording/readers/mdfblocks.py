"""Records of an MDF4 file straight from its data blocks, in one pass, for the plain layouts most recorders
write: sorted groups of fixed records, whole-byte numbers, deflated or not (ASAM MDF 4.1).

`asammdf` reads the structure of the file; its own access to a part of a channel goes over the whole group
each time. Anything unusual is left to it.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

PLAIN, DEFLATED, TRANSPOSED = 0, 1, 2  # DT block; DZ block as it is; DZ block with columns put together first
KINDS = {0: "<u", 1: ">u", 2: "<i", 3: ">i", 4: "<f", 5: ">f"}  # cn_data_type
VALUE, MASTER = 0, 2  # cn_type
LINEAR = 1  # cc_type: factor and offset
PIECE = 1 << 23  # bytes of a plain block read at a time


@dataclass(frozen=True, slots=True)
class Field:
    """A number in every record: numpy type, place, and `factor * x + offset` where it has a conversion."""

    kind: str
    offset: int
    factor: float = 1.0
    plus: float = 0.0

    def of(self, records: NDArray[np.uint8]) -> NDArray[np.generic]:
        """Its values (n,) in records (n, bytes)."""
        n = int(records.shape[0])
        x: NDArray[np.generic] = np.ndarray(
            (n,), np.dtype(self.kind), records, self.offset, (records.strides[0],)
        )
        if self.factor != 1.0 or self.plus != 0.0:
            x = x.astype(np.float64) * self.factor + self.plus
        return x


def field(channel: Any) -> Field | None:
    """Where a channel's numbers are; None when it takes more than that to read them."""
    kind, bits = KINDS.get(int(channel.data_type)), int(channel.bit_count)
    if (
        kind is None
        or bits not in (8, 16, 32, 64)
        or int(channel.bit_offset)
        or (kind[1] == "f" and bits < 32)
    ):
        return None
    if int(channel.channel_type) not in (VALUE, MASTER):
        return None
    conversion = channel.conversion
    if conversion is None:
        return Field(f"{kind}{bits // 8}", int(channel.byte_offset))
    if int(conversion.conversion_type) != LINEAR:
        return None
    return Field(f"{kind}{bits // 8}", int(channel.byte_offset), float(conversion.a), float(conversion.b))


def is_plain(group: Any) -> bool:
    """Whether the records of a group follow each other and nothing else is between them."""
    kinds = {int(b.block_type) for b in group.get_data_blocks()}
    return bool(
        group.sorted and not int(group.data_group.record_id_len)
        and not int(group.channel_group.invalidation_bytes_nr) and kinds <= {PLAIN, DEFLATED, TRANSPOSED}
        and int(group.channel_group.samples_byte_nr) > 0
    )  # fmt: skip


def _pieces(f: BinaryIO, block: Any) -> Iterator[NDArray[np.uint8]]:
    """The content of a block, some megabytes at a time (a plain block can be the whole recording)."""
    f.seek(block.address)
    if int(block.block_type) == PLAIN:
        left = int(block.compressed_size)
        while left > 0 and (raw := f.read(min(left, PIECE))):
            left -= len(raw)
            yield np.frombuffer(raw, np.uint8)
        return
    got = np.frombuffer(zlib.decompress(f.read(block.compressed_size)), np.uint8)
    if int(block.block_type) == TRANSPOSED:
        width = int(block.param)
        rows = got.shape[0] // width
        table = got[: rows * width].reshape(width, rows).T.reshape(-1)
        got = np.concatenate((table, got[rows * width :]))
    yield got


def records(path: Path, group: Any) -> Iterator[NDArray[np.uint8]]:
    """Records (n, bytes) of a plain group, some at a time; what a truncated file still holds of them."""
    size = int(group.channel_group.samples_byte_nr)
    left = int(group.channel_group.cycles_nr)
    carried = np.zeros(0, np.uint8)
    with path.open("rb") as f:
        for rest in (piece for block in group.get_data_blocks() for piece in _pieces(f, block)):
            if carried.shape[0]:  # a record that began in the piece before
                rest = np.concatenate((carried, rest))
            n = min(rest.shape[0] // size, left)
            if n:
                yield rest[: n * size].reshape(n, size)
            left -= n
            carried = rest[n * size :]
            if left <= 0:
                return


def columns(
    path: Path, group: Any, time: Field, wanted: Sequence[Field]
) -> Iterator[tuple[NDArray[np.float64], list[NDArray[np.generic]]]]:
    """(instants, samples of every wanted field) of a plain group, in order."""
    for rows in records(path, group):
        yield np.asarray(time.of(rows), np.float64), [w.of(rows) for w in wanted]
