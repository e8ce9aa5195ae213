"""What may be wrong: the catalogue of faults, how likely each is, and what each does to a network.

`changes` needs the solver, the catalogue does not; it is fetched when first asked for, so that `check`
starts without the solver.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from amptrail.faults.catalogue import NOTHING, catalogue
from amptrail.faults.hypothesis import Hypothesis, Look

if TYPE_CHECKING:
    from amptrail.faults.overlay import changes

__all__ = ["NOTHING", "Hypothesis", "Look", "catalogue", "changes"]


def __getattr__(name: str) -> Any:
    if name == "changes":
        from amptrail.faults.overlay import changes

        return changes
    raise AttributeError(name)
