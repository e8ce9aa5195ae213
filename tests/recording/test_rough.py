"""Ripple beside scipy, wake-ups one after the other, rows lost from a table, a scope that clips."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from signals import channel, levels, table

from amptrail.recording import find_events, measure, open_recording

RATE = 1000.0


@pytest.mark.parametrize(("hz", "high", "noise"), [(123.4, 0.2, 0.02), (900.0, 0.5, 0.1), (41.0, 0.08, 0.02)])
def test_ripple_beside_scipy(hz: float, high: float, noise: float) -> None:
    """A known sine on a charged battery; its frequency also as scipy.signal finds it."""
    from scipy.signal import periodogram

    t = np.arange(60_000) / 5000
    y = np.where(t < 4, 12.5, 14.2) + np.where(t < 4, 0, high / 2 * np.sin(2 * np.pi * hz * t))
    m = measure(channel("BAT.+", "V", 5000, y, noise))
    assert m.ripple_hz == pytest.approx(hz, rel=1e-3)
    assert m.ripple_v == pytest.approx(high, rel=0.05)
    f, power = periodogram(y[25_000:], 5000)
    assert m.ripple_hz == pytest.approx(f[1 + int(np.argmax(power[1:]))], abs=0.3)


def test_no_ripple_where_there_is_none() -> None:
    t = np.arange(60_000) / 5000
    for y in (np.full(60_000, 14.2), 12.5 + 0.2 * np.sin(2 * np.pi * 120 * t)):
        m = measure(channel("BAT.+", "V", 5000, y, 0.05))
        assert (m.ripple_hz, m.ripple_v) == (None, None)


def test_every_wake_up_and_every_sleep_again() -> None:
    """A night with three wake-ups of different lengths."""
    wakes = ((2000.0, 2030.0), (4000.0, 4012.0), (6000.0, 6300.0))
    parts = [(0.0, 60.0, 4.2), (60.0, 8000.0, 0.022), *((a, b, 0.9) for a, b in wakes)]
    got = find_events([channel("clamp", "A", 10, levels(8000, 10, *parts), 0.002)])
    seen = [(e.kind, e.t_s) for e in got if e.kind in ("woken", "asleep")]
    wanted = [("asleep", 60.0), *(x for a, b in wakes for x in (("woken", a), ("asleep", b)))]
    assert [k for k, _ in seen] == [k for k, _ in wanted]
    for (_, t), (_, w) in zip(seen, wanted, strict=True):
        assert t == pytest.approx(w, abs=0.2)


@settings(max_examples=25, deadline=None)
@given(
    lost=st.floats(0.0, 0.3), seed=st.integers(0, 1000), most=st.sampled_from([12.5, 11.0, 9.0]),
    begin=st.integers(300, 1500), length=st.integers(400, 1500),
)  # fmt: skip
def test_lost_rows_and_a_clipping_scope(lost: float, seed: int, most: float, begin: int, length: int) -> None:
    """Up to a third of the rows missing (time written beside them), clipped at the top: found all the same,
    no later than the next row that is there."""
    rng = np.random.default_rng(seed)
    n = begin + length + 500
    y = levels(n / RATE, RATE, (begin / RATE, (begin + length) / RATE, 12.0)) + 0.3 * rng.standard_normal(n)
    kept = np.flatnonzero(rng.random(n) >= lost)
    kept = np.union1d(kept, [0, 1, n - 1])
    with tempfile.TemporaryDirectory() as folder:
        rows = [kept / RATE, np.minimum(y, most)[kept]]
        got = open_recording(table(Path(folder) / "x.csv", "time (s),K1.87 (V)\n", rows))
    events = find_events(got.channels)
    assert [e.kind for e in events] == ["pull_in", "drop_out"]
    for e, k in zip(events, (begin, begin + length), strict=True):
        before, after = kept[kept < k].max(), kept[kept >= k].min()
        assert (before - 1) / RATE <= e.t_s + 1e-6
        assert e.t_s <= (after + 1) / RATE + 1e-6


@pytest.mark.parametrize("hz", [10.0, 50.0, 120.0])
def test_an_injector_and_its_peak(hz: float) -> None:
    """Low side of an injector: 3 ms on, then a spike to 65 V above the supply that dies in 0.2 ms (a coil on
    its resistance: an exponential). Frequency, share of time at the supply and peak come back."""
    rate = 50_000.0
    t = np.arange(round(8 * rate)) / rate
    since = t % (1 / hz)
    y = np.where(since < 0.003, 0.4, 13.8 + 65 * np.exp(-np.maximum(since - 0.003, 0) / 0.0002))
    m = measure(channel("INJ1.2", "V", rate, y, 0.1))
    assert m.frequency_hz == pytest.approx(hz, rel=1e-3)
    assert m.duty == pytest.approx(1 - 0.003 * hz, abs=0.01)
    assert m.high == pytest.approx(13.8 + 65, abs=2)
