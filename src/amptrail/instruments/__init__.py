"""The instruments: what each measures and draws, how far to trust it, where it may not go."""

from amptrail.instruments.catalogue import Instrument, by_name, instruments
from amptrail.instruments.cautions import cautions

__all__ = ["Instrument", "by_name", "cautions", "instruments"]
