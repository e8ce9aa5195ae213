"""The neutral format `oracle-circuit-1` (authorities/oracle/README.md): dict <-> Circuit, nothing lost."""

from amptrail.exchange.oracle_in import to_circuit
from amptrail.exchange.oracle_out import from_circuit

__all__ = ["from_circuit", "to_circuit"]
