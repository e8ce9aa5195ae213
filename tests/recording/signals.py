"""Signals made for the tests: levels, noise, starting profiles."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from amptrail.recording import Channel


def levels(seconds: float, rate_hz: float, *parts: tuple[float, float, float]) -> np.ndarray:
    """Zero but for (begin, end, level)."""
    t = np.arange(round(seconds * rate_hz)) / rate_hz
    y = np.zeros_like(t)
    for begin, end, level in parts:
        y[(t >= begin - 1e-12) & (t < end - 1e-12)] = level
    return y


def channel(
    name: str, unit: str, rate_hz: float, y: np.ndarray, noise: float = 0.0, seed: int = 0
) -> Channel:
    """A channel of those samples with noise of that standard deviation."""
    grain = np.random.default_rng(seed).standard_normal(y.shape) * noise
    return Channel(name, unit, 1 / rate_hz, 0.0, (y + grain).astype(np.float32))


def table(path: Path, head: str, columns: list[np.ndarray], divided: str = ",", comma: bool = False) -> Path:
    """A table of text with a head as given."""
    rows = "\n".join(divided.join(f"{v:.9g}" for v in row) for row in np.array(columns).T)
    path.write_text(head + (rows.replace(".", ",") if comma else rows) + "\n", encoding="utf-8")
    return path
