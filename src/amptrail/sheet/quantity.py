"""Numbers with units, read and printed exactly: `3 mohm` is the float nearest 0.003 and prints so."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

# unit word -> (dimension, factor to SI)
UNITS: dict[str, tuple[str, Decimal]] = {
    "uohm": ("ohm", Decimal("1e-6")), "µΩ": ("ohm", Decimal("1e-6")),
    "mohm": ("ohm", Decimal("1e-3")), "mΩ": ("ohm", Decimal("1e-3")),
    "ohm": ("ohm", Decimal(1)), "Ω": ("ohm", Decimal(1)),
    "kohm": ("ohm", Decimal(1000)), "kΩ": ("ohm", Decimal(1000)),
    "Mohm": ("ohm", Decimal(10) ** 6), "MΩ": ("ohm", Decimal(10) ** 6),
    "A": ("A", Decimal(1)), "mA": ("A", Decimal("1e-3")), "uA": ("A", Decimal("1e-6")),
    "µA": ("A", Decimal("1e-6")), "nA": ("A", Decimal("1e-9")),
    "V": ("V", Decimal(1)), "mV": ("V", Decimal("1e-3")), "kV": ("V", Decimal(1000)),
    "W": ("W", Decimal(1)), "kW": ("W", Decimal(1000)), "mW": ("W", Decimal("1e-3")),
    "mm2": ("mm2", Decimal(1)), "mm²": ("mm2", Decimal(1)),
    "m": ("m", Decimal(1)), "cm": ("m", Decimal("1e-2")), "mm": ("m", Decimal("1e-3")),
    "s": ("s", Decimal(1)), "ms": ("s", Decimal("1e-3")), "min": ("s", Decimal(60)),
    "h": ("s", Decimal(3600)),
    "x": ("x", Decimal(1)), "%": ("x", Decimal("1e-2")),
}  # fmt: skip
# per dimension: what to print from which magnitude on
_PRINT: dict[str, tuple[tuple[float, str, int], ...]] = {
    "ohm": ((1e6, "Mohm", 6), (1e3, "kohm", 3), (0.1, "ohm", 0), (0.0, "mohm", -3)),
    "A": ((0.5, "A", 0), (1e-4, "mA", -3), (0.0, "nA", -9)),
    "V": ((0.5, "V", 0), (0.0, "mV", -3)),
    "s": ((0.1, "s", 0), (0.0, "ms", -3)),
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as written, exact, with its unit."""

    number: Decimal
    unit: str

    @property
    def dimension(self) -> str:
        """ohm, A, V, W, mm2, m, s or x."""
        return UNITS[self.unit][0]

    @property
    def si(self) -> float:
        """The value in SI (mm2 for areas, s for times)."""
        return float(self.number * UNITS[self.unit][1])

    @property
    def minutes(self) -> float:
        """A time in minutes."""
        if self.unit == "min":
            return float(self.number)
        return float(self.number * UNITS[self.unit][1] / 60)


def plain(number: Decimal) -> str:
    """A decimal without needless zeros; an exponent only where digits would be many."""
    text = format(number.normalize(), "f")
    return text if len(text) <= 14 else str(number.normalize()).replace("E", "e")


def show(si: float, dimension: str) -> str:
    """Print an SI value so that reading it back gives the same float."""
    exact = Decimal(repr(float(si)))
    steps = _PRINT.get(dimension, ((0.0, dimension, 0),))
    unit, power = next((u, p) for least, u, p in steps if abs(si) >= least)
    if si == 0:
        unit, power = dimension, 0
    return f"{plain(exact.scaleb(-power))} {unit}"


def show_minutes(minutes: float) -> str:
    """Print minutes as `n min`."""
    return f"{plain(Decimal(repr(float(minutes))))} min"
