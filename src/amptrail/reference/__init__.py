"""Reference values of the trade, each with its source and how it is known; computes no circuits."""

from amptrail.reference.cautions import Caution, cautions
from amptrail.reference.sizing import size

__all__ = ["Caution", "cautions", "size"]
