"""A number as the sheet writes it: exact, with its unit. Units and printing are those of `amptrail.units`."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from amptrail import units


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as written, exact, with its unit."""

    number: Decimal
    unit: str

    @property
    def dimension(self) -> units.Dimension:
        """ohm, A, V, W, mm2, m, s or x."""
        return units.dimension(self.unit)

    @property
    def si(self) -> float:
        """The value in SI (mm2 for areas, s for times)."""
        return units.to_si(self.number, self.unit)

    @property
    def minutes(self) -> float:
        """A time in minutes."""
        return float(self.number) if self.unit == "min" else self.si / 60


def show_minutes(minutes: float) -> str:
    """Print minutes as `n min`, exactly."""
    return f"{units.digits(Decimal(repr(float(minutes))))} min"
