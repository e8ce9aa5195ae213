"""Figures with their units as a person reads them."""

from __future__ import annotations


def figure(value: float | None, unit: str) -> str:
    """Volts and amps in the size that reads well; ohms with two decimals; other units as they are."""
    if value is None:
        return "-"
    if unit == "V":
        return f"{value * 1000:.1f} mV" if abs(value) < 0.1 else f"{value:.2f} V"
    if unit == "A":
        return f"{value * 1000:.1f} mA" if abs(value) < 1 else f"{value:.2f} A"
    if unit != "ohm":
        return f"{value:.3g} {unit}"
    return f"{value / 1000:.2f} kohm" if abs(value) >= 1000 else f"{value:.2f} ohm"
