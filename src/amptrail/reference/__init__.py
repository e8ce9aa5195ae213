"""Reference values of the trade, each with its source and how it is known; computes no circuits.

`size` is fetched when first asked for: priors and cautions must not wait for its number crunching.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from amptrail.reference.cautions import Caution, cautions

if TYPE_CHECKING:
    from amptrail.reference.sizing import size

__all__ = ["Caution", "cautions", "size"]


def __getattr__(name: str) -> Any:
    if name == "size":
        from amptrail.reference.sizing import size

        return size
    raise AttributeError(name)
