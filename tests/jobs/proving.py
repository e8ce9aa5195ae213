"""A vehicle with a known fault answers the tests of a sheet: readings lines filled by the solver."""

from __future__ import annotations

from amptrail.circuit.model import Circuit, Fault
from amptrail.jobs import engine
from amptrail.jobs.proofsheet import Proof, proof_of
from amptrail.jobs.shows import Offer
from amptrail.jobs.suspects import judge

Truth = tuple[Fault, ...]


def filled(circuit: Circuit, truth: Truth, x: Offer, right: bool = True) -> str:
    """The line of a test as this vehicle answers it."""
    t = x.test
    if t.said is not None and t.said.kind == "looks":
        return x.line.replace("{value}", "right" if right else "wrong")
    if t.instrument == "eye":  # a function: does it, in the phase, at both of two key turns?
        return x.line.replace("{value}", "0 of 2" if "works" in x.line else "does not work")
    got = engine.solved(circuit, [truth], t.conditions, keep=False)
    value = float(got.measure([(t.spot, t.instrument, t.phase)])[0][0, 0])
    if t.instrument == "lamp":
        from amptrail.jobs.shows import lamp_words

        return x.line.replace("{value}", lamp_words(value))
    unit = "A" if t.spot.what == "amps" else "V"
    return x.line.replace("{value}", f"{value:.2f} {unit}")


def walked(circuit: Circuit, truth: Truth, start: str, part: str, most: int = 6) -> tuple[Proof, str]:
    """Every test of the sheet of a part answered, round after round, until nothing new is asked."""
    text = start
    for _ in range(most):
        p = proof_of(judge(circuit, text, "off"), part, others=False)
        if p.sheet is None or p.sheet.proven:
            break
        new = [filled(circuit, truth, x) for tests, _ in p.tests for x in tests]
        new = [line for line in dict.fromkeys(new) if line not in text]
        if not new:
            break
        text += "\n".join(new) + "\n"
    return proof_of(judge(circuit, text, "off"), part, others=False), text
