"""The circuit model: parts, terminals, metal, phases. Frozen; computes no volts."""
