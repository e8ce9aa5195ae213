"""Figures with their units, and probabilities, as a person reads them: on the terminal and on the pages."""

from __future__ import annotations

NOTHING = 5e-5  # V or A: half of the last digit shown


def figure(value: float | None, unit: str) -> str:
    """Volts and amps in the size that reads well; ohms with two decimals; other units as they are."""
    if value is None:
        return "-"
    if unit in ("V", "A") and abs(value) < NOTHING:
        return f"0 {unit}"
    if unit == "V":
        return f"{value * 1000:z.1f} mV" if abs(value) < 0.1 else f"{value:z.2f} V"
    if unit == "A":
        return f"{value * 1000:z.1f} mA" if abs(value) < 1 else f"{value:z.2f} A"
    if unit != "ohm":
        return f"{value:.3g} {unit}"
    return f"{value / 1000:z.2f} kohm" if abs(value) >= 1000 else f"{value:z.2f} ohm"


SURE = ((0.95, "almost certain"), (0.5, "likely"), (0.1, "possible"), (0.0, "unlikely, not ruled out"))


def how_sure(probability: float) -> str:
    """A probability in words (JOB.md: no decimals at the vehicle)."""
    return next(words for least, words in SURE if probability >= least)


def ohms(value: float) -> str:
    """Ohms to two figures: a meter at the vehicle shows no more that matters."""
    rounded = float(f"{value:.2g}")
    return f"{rounded / 1000:g} kohm" if rounded >= 1000 else f"{rounded:g} ohm"
