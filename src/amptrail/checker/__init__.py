"""The independent checker of proofs of temporary feeds (design/0003, Proof).

check(proof text, sheet text) -> Answer(valid, step, reason). It shares no code with the prover: circuits are
computed by the plain twin, and every rule is written a second time, over the proof's own timeline.
"""

from amptrail.checker.verify import Answer, check

__all__ = ["Answer", "check"]
