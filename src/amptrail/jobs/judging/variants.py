"""Several drawings of one vehicle carried together: the causes of each beside those of the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from amptrail.belief import Hypothesis, posterior
from amptrail.circuit.model import Circuit
from amptrail.errors import InputError
from amptrail.jobs.base.context import Json
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.predict import Suspect
from amptrail.jobs.solved.drawings import Drawing, drawings
from amptrail.jobs.solved.observe import observations


def joined(circuit: Circuit, of: Sequence[Drawing], each: Sequence[Judgement]) -> Judgement:
    """One judgement of all drawings, each as likely beforehand as any other."""
    hypotheses: list[Hypothesis] = []
    suspects: list[Suspect] = []
    drawn_by: list[int] = []
    for n, (drawing, j) in enumerate(zip(of, each, strict=True)):
        there = [
            h for h, s in enumerate(j.suspects) if drawing.has(tuple(f for c in s.causes for f in c.faults))
        ]
        scale = 1.0 / (len(of) * sum(j.post.table.hypotheses[h].prior for h in there))
        for h in there:
            was, s = j.post.table.hypotheses[h], j.suspects[h]
            name = was.key if n == 0 else f"{drawing.name}: {was.key}"
            hypotheses.append(replace(was, key=name, prior=was.prior * scale))
            suspects.append(replace(s, prior=s.prior * scale))
            drawn_by.append(n)
    spoilers = next((j.post.table.spoilers for j in each if j.post.table.spoilers), ())
    table = replace(each[0].post.table, hypotheses=tuple(hypotheses), spoilers=spoilers)
    return replace(
        each[0], circuit=circuit, suspects=tuple(suspects), post=posterior(table), each=tuple(each),
        drawn_by=tuple(drawn_by), pairs_weighed=sum(j.pairs_weighed for j in each),
    )  # fmt: skip


def only_on(of: Sequence[Drawing], readings_text: str, error: InputError) -> InputError:
    """The error of readings of a point that the sheet does not have: said, where a variant has it."""
    for d in of[1:]:
        try:
            observations(d.circuit, readings_text)
        except InputError:
            continue
        remedy = f"a vehicle that has it is built by variant {d.name}: make its lines those of the sheet"
        return InputError(tuple(replace(p, remedy=remedy) for p in error.problems))
    return error


def named(j: Judgement) -> list[Json]:
    """Every drawing with its probability; none where the sheet has no variants."""
    names = [d.name for d in drawings(j.circuit)]
    return [{"name": n, "probability": p} for n, p in zip(names, j.by_drawing, strict=False)]
