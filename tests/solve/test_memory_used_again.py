"""Memory of results is taken again only when nobody looks at it any more."""

from __future__ import annotations

import gc

import numpy as np

from amptrail.solve.reused import LEAST, uncleared


def where(a: np.ndarray) -> int:
    return int(a.__array_interface__["data"][0])


def test_it_is_taken_again_once_no_view_is_left() -> None:
    shape = (3, LEAST // 8)
    first = uncleared(shape)
    first[:] = 7.0
    place, view = where(first), first[1, 10:20].reshape(2, 5)
    del first
    gc.collect()
    other = uncleared(shape)
    assert where(other) != place
    other[:] = 1.0
    assert (view == 7.0).all()
    del view
    gc.collect()
    assert where(uncleared(shape)) == place


def test_shape_kind_and_little_ones() -> None:
    for shape, kind in (
        ((2, LEAST), np.uint8),
        ((LEAST, 2), np.int32),
        ((4, 0, 3), np.float64),
        ((5,), np.int8),
    ):
        a = uncleared(shape, kind)
        assert a.shape == shape
        assert a.dtype == kind
        assert a.flags.c_contiguous
        assert a.flags.writeable
