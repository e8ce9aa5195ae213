"""What is likely before the first reading: the catalogue, what was worked on last, what earlier jobs taught.

Each of these moves priors by a factor that is told, and can be left out.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from amptrail.circuit.model import Circuit, WorkedOn
from amptrail.faults import NOTHING, catalogue
from amptrail.jobs.base.context import Json
from amptrail.jobs.evidence.history import NONE, History, factor_of, told
from amptrail.jobs.evidence.predict import Suspect, single
from amptrail.reference.rows import rows


@lru_cache(maxsize=32)
def singles(circuit: Circuit) -> tuple[Suspect, ...]:
    """Nothing broken first, then every cause of the catalogue, over its severities."""
    found = catalogue(circuit)
    nothing = [single(c) for c in found if c.id == NOTHING]
    return (*nothing, *(single(c) for c in found if c.id != NOTHING and c.faults))


@lru_cache(maxsize=32)
def beforehand(
    circuit: Circuit, worked: tuple[WorkedOn, ...] = (), history: History = NONE
) -> tuple[Suspect, ...]:
    """`singles`, with priors moved by what was worked on and by history; they add up to as much as before."""
    known = replace(circuit, worked_on=(*circuit.worked_on, *worked)) if worked else circuit
    base = singles(known)
    if not history.learned:
        return base
    factor = [factor_of(history, circuit, s.causes[0]) for s in base]
    moved = sum(s.prior * f for s, f in zip(base, factor, strict=True))
    scale = sum(s.prior for s in base) / moved if moved > 0 else 1.0
    return tuple(_times(s, f * scale) for s, f in zip(base, factor, strict=True))


def _times(s: Suspect, factor: float) -> Suspect:
    causes = tuple(replace(c, prior=c.prior * factor) for c in s.causes)
    return replace(s, causes=causes, prior=s.prior * factor)


def worked_factor() -> tuple[float, str]:
    """How much likelier a fault is where somebody worked, and how that is known."""
    row = next(r for r in rows("traits") if r["trait"] == "worked-on")
    return float(row["factor"]), row["source"]


def raised(circuit: Circuit, worked: tuple[WorkedOn, ...], history: History) -> list[Json]:
    """What moved the priors, for who reads the answer."""
    factor, source = worked_factor()
    out: list[Json] = []
    for w in (*circuit.worked_on, *worked):
        said = f" ({w.text})" if w.text else ""
        words = f"worked on {w.part}{said}: it and its neighbours x {factor:g} ({source})"
        none = dict.fromkeys(("count", "expected", "jobs"))
        out.append({"what": "worked on", "name": w.part, **none, "factor": factor, "words": words})
    return out + told(history)
