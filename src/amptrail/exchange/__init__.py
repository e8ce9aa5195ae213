"""Other formats: the neutral circuit format of the oracle, ngspice netlists, a plain dump of the model."""

from amptrail.exchange.convert import FORMS, convert, read_circuit

__all__ = ["FORMS", "convert", "read_circuit"]
