"""Every kind of event and measure under what a workshop does to a signal: noise at 20 dB, drift, a scope that
clips, samples that were dropped (the one before stands there), 8-bit steps. Made from known instants; spectra
and square waves beside scipy.signal."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy import signal

from amptrail.recording import Channel, Event, find_events, measure


@dataclass(frozen=True, slots=True)
class Rough:
    """What is done to a signal; `noise` is a share of its step."""

    seed: int
    noise: float
    drift: float  # share of the step over the whole of it
    clip: bool
    dropped: float  # share of samples
    bits: bool

    def of(self, y: np.ndarray, step: float) -> np.ndarray:
        """The signal as a scope in a workshop has it."""
        rng = np.random.default_rng(self.seed)
        n = y.shape[0]
        low, high = float(y.min()), float(y.max())
        x = y + self.drift * step * np.arange(n) / n + self.noise * step * rng.standard_normal(n)
        if self.clip:
            x = np.clip(x, low - 0.05 * step, high + 0.05 * step)
        if self.dropped:
            gone = rng.random(n) < self.dropped
            gone[0] = False
            x = x[np.maximum.accumulate(np.where(gone, 0, np.arange(n)))]
        if self.bits:
            grain = 1.6 * (high - low) / 256
            x = np.round(x / grain) * grain
        return x.astype(np.float32)


ROUGH = st.builds(
    Rough, st.integers(0, 10_000), st.sampled_from([0.0, 0.03, 0.1]), st.sampled_from([0.0, 0.05, -0.05]),
    st.booleans(), st.sampled_from([0.0, 0.0, 0.01]), st.booleans(),
)  # fmt: skip
SOME = settings(max_examples=25, deadline=None, phases=(Phase.explicit, Phase.generate))


def made(name: str, unit: str, rate: float, y: np.ndarray) -> Channel:
    return Channel(name, unit, 1 / rate, 0.0, y)


def within(found: list[Event], wanted: list[tuple[str, float]], rate: float, rough: Rough) -> None:
    """The same kinds in the same order, each within one sample (and one more where samples were dropped)."""
    assert [e.kind for e in found] == [k for k, _ in wanted]
    room = (3.01 if rough.dropped else 1.01) / rate
    for e, (_, t) in zip(found, wanted, strict=True):
        assert e.t_s == pytest.approx(t, abs=room)


@SOME
@given(rough=ROUGH, on=st.integers(400, 900), away=st.integers(20, 300), gone=st.integers(1, 3))
def test_drop_outs_of_a_contact(rough: Rough, on: int, away: int, gone: int) -> None:
    rate = 2000.0
    y = np.zeros(on + gone * 1200 + 1600)
    y[on : on + gone * 1200 + 800] = 12.2
    wanted = [("pull_in", on / rate)]
    for k in range(gone):
        first = on + 600 + k * 1200
        y[first : first + away] = 0
        wanted += [("dropout_start", first / rate), ("dropout_end", (first + away) / rate)]
    wanted.append(("drop_out", (on + gone * 1200 + 800) / rate))
    within(find_events([made("K1.87", "V", rate, rough.of(y, 12.2))]), wanted, rate, rough)


@SOME
@given(rough=ROUGH, hz=st.floats(12, 60), share=st.floats(0.3, 0.7))
def test_a_buzzing_contact(rough: Rough, hz: float, share: float) -> None:
    rate = 4000.0
    t = np.arange(12_000) / rate
    buzz = (t >= 0.5) & (t < 2.0) & (signal.square(2 * np.pi * hz * (t - 0.5), share) > 0)
    found = find_events([made("K2.87", "V", rate, rough.of(np.where(buzz, 12.0, 0.0), 12.0))])
    first = found[0]
    assert first.kind == "chatter"
    assert first.value == pytest.approx(hz, rel=0.03)
    assert first.t_s == pytest.approx(0.5, abs=3.01 / rate)
    assert first.end_s == pytest.approx(2.0, abs=1.05 / hz)


@SOME
@given(rough=ROUGH, hz=st.floats(30, 180), duty=st.floats(0.12, 0.88))
def test_pulse_width(rough: Rough, hz: float, duty: float) -> None:
    """scipy.signal.square; the frequency also as scipy.signal.periodogram finds it."""
    rate = 10_000.0
    t = np.arange(40_000) / rate
    y = 6 + 6 * signal.square(2 * np.pi * hz * t, duty)
    x = rough.of(y, 12.0)
    m = measure(made("FAN.in", "V", rate, x))
    assert m.frequency_hz == pytest.approx(hz, rel=0.005)
    f, power = signal.periodogram(x - x.mean(), rate)
    # the strongest line of a narrow pulse may be its second harmonic
    strongest = f[int(np.argmax(power))]
    assert min(abs(strongest - k * (m.frequency_hz or 0)) for k in (1, 2, 3)) < 1.0
    # edges lie between samples: two of them, and a dropped one, are what a duty can be off
    assert m.duty == pytest.approx(duty, abs=0.01 + 2 * hz / rate)
    assert [e for e in find_events([made("FAN.in", "V", rate, x)]) if e.kind == "chatter"] == []


@SOME
@given(rough=ROUGH, hz=st.floats(60, 900), high=st.floats(0.15, 0.6))
def test_ripple_of_a_charged_supply(rough: Rough, hz: float, high: float) -> None:
    rate = 5000.0
    t = np.arange(25_000) / rate
    y = 14.2 + high / 2 * np.sin(2 * np.pi * hz * t)
    x = rough.of(y, high)
    m = measure(made("BAT.+", "V", rate, x))
    assert m.ripple_hz == pytest.approx(hz, rel=2e-3)
    assert m.ripple_v == pytest.approx(high, rel=0.15)
    f, power = signal.periodogram(x - x.mean(), rate, window="hann")
    assert m.ripple_hz == pytest.approx(f[int(np.argmax(power))], abs=0.4)


@SOME
@given(rough=ROUGH, hz=st.floats(8, 90), peak=st.floats(25, 90))
def test_an_injector_and_its_peak(rough: Rough, hz: float, peak: float) -> None:
    """On for 3 ms, then a spike that dies in 0.2 ms (a coil on a resistor: an exponential)."""
    rate = 40_000.0
    t = np.arange(round(2 * rate)) / rate
    since = t % (1 / hz)
    y = np.where(since < 0.003, 0.4, 13.8 + peak * np.exp(-np.maximum(since - 0.003, 0) / 0.0002))
    calm = Rough(rough.seed, rough.noise, 0.0, False, rough.dropped, rough.bits)
    m = measure(made("INJ1.2", "V", rate, calm.of(y, 13.4)))
    if 2 * hz >= 60:  # a clock is told from so many pulses on
        assert m.frequency_hz == pytest.approx(hz, rel=0.01)
        assert m.duty == pytest.approx(1 - 0.003 * hz, abs=0.02)
    assert m.high == pytest.approx(13.8 + peak, abs=0.1 * peak + 5 * rough.noise * 13.4)


@SOME
@given(rough=ROUGH, low=st.floats(6.5, 10.0), begin=st.integers(1500, 3000), length=st.integers(500, 2500))
def test_a_start(rough: Rough, low: float, begin: int, length: int) -> None:
    rate = 1000.0
    y = np.full(begin + length + 3000, 12.5)
    y[begin : begin + length] = low
    y[begin + length :] = 14.1
    calm = Rough(rough.seed, min(rough.noise, 0.05), 0.0, False, rough.dropped, rough.bits)
    found = [e for e in find_events([made("BAT.+", "V", rate, calm.of(y, 12.5 - low))])
             if e.kind.startswith("crank")]  # fmt: skip
    within(found, [("crank_start", begin / rate), ("crank_end", (begin + length) / rate)], rate, calm)


@SOME
@given(rough=ROUGH, levels=st.lists(st.floats(0.3, 1.5), min_size=1, max_size=4), wakes=st.integers(0, 2))
def test_a_clamp_stepping_down_to_sleep_and_woken(rough: Rough, levels: list[float], wakes: int) -> None:
    """Each step at least a third of an ampere, noise a tenth of that: 20 dB of the smallest step."""
    rate = 50.0
    down = list(np.cumsum(levels[::-1])[::-1] + 0.03)
    parts = [*((v, 20.0) for v in down), (0.03, 60.0)]
    for _ in range(wakes):
        parts += [(0.9, 15.0), (0.03, 40.0)]
    y = np.concatenate([np.full(round(s * rate), v) for v, s in parts])
    at = np.cumsum([s for _, s in parts])
    calm = Rough(rough.seed, rough.noise * 0.5, 0.0, False, rough.dropped, False)
    found = find_events([made("W1", "A", rate, calm.of(y, 0.3))])
    within([e for e in found if e.kind == "step"], [("step", float(t)) for t in at[:-1]], rate, calm)
    told = [(e.kind, e.t_s) for e in found if e.kind != "step"]
    wanted = [("asleep", float(at[len(down) - 1]))]
    for k in range(wakes):
        wanted += [("woken", float(at[len(down) + 2 * k])), ("asleep", float(at[len(down) + 2 * k + 1]))]
    assert [k for k, _ in told] == [k for k, _ in wanted]
    charge = measure(made("W1", "A", rate, calm.of(y, 0.3))).charge_mah
    assert charge == pytest.approx(float(y.sum()) / rate / 3.6, rel=0.02)


def test_stated_confidence_is_honest() -> None:
    """Of the instants said to be sure to 99 % (or 95), so many lie within what was said, at any noise."""
    rate = 1000.0
    inside, count = Counter[float](), Counter[float]()
    for seed in range(150):
        rng = np.random.default_rng(seed)
        noise = float(rng.choice([0.05, 0.1, 0.14, 0.15]))
        begin, end = 500 + int(rng.integers(0, 500)), 1600 + int(rng.integers(0, 500))
        y = np.zeros(2800)
        y[begin:end] = 12.0
        found = find_events([made("K1.87", "V", rate, Rough(seed, noise, 0.0, False, 0.0, True).of(y, 12.0))])
        ends = [e for e in found if e.kind in ("pull_in", "drop_out")]
        for e, k in zip((ends[0], ends[-1]), (begin, end), strict=True):
            count[e.confidence] += 1
            # the change lies between sample k - 1 and sample k
            inside[e.confidence] += e.t_low_s <= k / rate and (k - 1) / rate <= e.t_high_s
    assert sum(count.values()) == 300
    assert len(count) >= 2
    for sure, n in count.items():
        room = 3 * (sure * (1 - sure) / n) ** 0.5
        assert inside[sure] / n >= sure - room, (sure, inside[sure], n)
