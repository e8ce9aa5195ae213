"""What may be wrong: the catalogue of faults, how likely each is, and what each does to a network."""

from amptrail.faults.catalogue import NOTHING, catalogue
from amptrail.faults.hypothesis import Hypothesis, Look
from amptrail.faults.overlay import changes

__all__ = ["NOTHING", "Hypothesis", "Look", "catalogue", "changes"]
