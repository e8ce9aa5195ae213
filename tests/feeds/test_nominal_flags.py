"""The nominal flags written by hand are those the twin gives under the oracle format's definitions."""

from __future__ import annotations

import pytest
from feed_table import Row, circuit, rows
from nominal_flags import Nominal

DECIDED = [r for r in rows() if r.verdict != "undecided"]


@pytest.mark.parametrize("row", DECIDED, ids=lambda r: r.id)
def test_the_flags_by_hand_are_those_of_the_twin(row: Row) -> None:
    got = Nominal(circuit(row.sheet), row.feed, row.against).flags()
    assert set(row.flags) <= got, f"not so: {sorted(set(row.flags) - got)}"
    assert got <= {*row.flags, *row.maybe_flags}, f"forgotten: {sorted(got - {*row.flags, *row.maybe_flags})}"
