"""Benchmarks and the generator of circuits they run on."""
