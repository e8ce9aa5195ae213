"""Events in the words of the trade, the same on paper, in a picture and on the terminal."""

from __future__ import annotations

import math

from amptrail.recording.events import Event

WORDS = {
    "key_on": "key on", "key_off": "key off", "crank_start": "cranking begins", "crank_end": "cranking ends",
    "pull_in": "pulls in", "drop_out": "drops out", "bounce": "contact bounces", "dropout_start": "gone",
    "dropout_end": "back", "chatter": "chatters", "charge_start": "charging begins", "asleep": "asleep",
    "woken": "woken", "step": "step",
}  # fmt: skip


def rounded(value: float, span: float) -> str:
    """A value to about three figures of the range it lies in."""
    places = max(2 - math.floor(math.log10(span)), 0) if span > 0 else 3
    text = f"{value:.{min(places, 9)}f}"
    return text[1:] if text.startswith("-") and not float(text) else text


def figure(kind: str, value: float | None, unit: str = "V") -> str:
    """The figure of an event in words, empty when it has none; `unit` of its channel."""
    if value is None:
        return ""
    if kind.startswith("dropout"):
        return f"away {value * 1000:.1f} ms"
    if kind == "chatter":
        return f"{value:.0f} times a second"
    if kind == "bounce":
        return f"{value:.0f} times"
    if kind.startswith("crank"):
        return f"lowest {value:.2f} {unit}" if unit != "A" else f"{value:.3g} A"
    return f"{value:.3g} {unit}".strip()


def told(e: Event, unit: str = "V") -> str:
    """An event in words with its figure."""
    return ", ".join(x for x in (WORDS[e.kind], figure(e.kind, e.value, unit)) if x)
