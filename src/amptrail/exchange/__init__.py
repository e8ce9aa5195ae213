"""Other formats: the neutral circuit format of the oracle, ngspice netlists, a plain dump of the model."""
