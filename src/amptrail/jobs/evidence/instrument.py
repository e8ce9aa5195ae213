"""One person's instrument as the cause: a dead lead, a clip on paint, a low battery explain many readings.

Looked at when the causes of the circuit leave a reading in doubt, and when an instrument has shown nothing
at all so far: nobody knows then that it works, however well an open battery would explain it too. Priors are
such that a plain good explanation is never beaten by it. It is told as `instrument wrong` of the part the
reference lead was on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from amptrail.belief import Posterior, Spoiler, Table, posterior
from amptrail.circuit.model import Fault, Term
from amptrail.jobs.base.context import Json
from amptrail.jobs.base.faultnames import fault_json
from amptrail.jobs.evidence.judgement import Judgement
from amptrail.jobs.evidence.predict import Evidence
from amptrail.jobs.solved.observe import Observation
from amptrail.jobs.solved.spots import battery_minus

# of all jobs, for each instrument that took two readings or more (1 of 37 classified stories had one wrong;
# how it is shared among the ways of being wrong is common practice)
DEAD, ANYTHING, FACTOR = 0.006, 0.004, 0.010
OFF_BY = 0.3  # of what is there: how far a low battery in the meter or a bad contact puts it off
DOUBTED = 0.1  # "not as drawn" above this asks for the instruments too
SHOWN = 0.1  # V or A: an instrument that has shown this much once is alive (common practice)
AGAIN_MIN = 3.0
USED = ("meter", "lamp", "loaded", "led", "clamp", "fuse-drop", "scope")


def _by_hand(seen: Evidence) -> dict[tuple[str, ...], tuple[int, ...]]:
    """Numeric readings by person and instrument."""
    found: dict[tuple[str, ...], tuple[int, ...]] = {}
    for i, o in enumerate(seen.numbers):
        if o.tool in USED and o.kind == "number":
            found[o.whose, o.by, o.tool] = (*found.get((o.whose, o.by, o.tool), ()), i)
    return {k: v for k, v in found.items() if len(v) > 1}


def _shown(seen: Evidence, mine: Sequence[int]) -> bool:
    """Whether an instrument showed anything in any of its readings."""
    return any(abs(o.value) > SHOWN for o in (seen.numbers[i] for i in mine))


def with_instruments(t: Table, seen: Evidence, post: Posterior) -> tuple[Table, Posterior]:
    """The table with instruments that may be wrong, weighed, when the causes alone leave doubts."""
    doubts = post.doubtful is not None or post.unexplained.p_value < 0.05 or post.undrawn > DOUBTED
    taken = tuple(_by_hand(seen).values())
    if not doubts:
        taken = tuple(mine for mine in taken if not _shown(seen, mine))
        doubts = bool(taken)
    if not doubts or not taken:
        return t, post
    spoilers = tuple(
        s
        for mine in taken
        for s in (
            Spoiler(DEAD, mine, dead=True),
            Spoiler(ANYTHING, mine),
            Spoiler(FACTOR, mine, factor=OFF_BY),
        )
    )
    t = replace(t, spoilers=spoilers)
    return t, posterior(t)


def instrument_rows(j: Judgement, least: float) -> list[Json]:
    """A row of `suspects` for each instrument that may be wrong with at least this probability."""
    spoilers, share = j.post.table.spoilers, j.post.spoiled
    rows = []
    for mine in dict.fromkeys(s.readings for s in spoilers):
        ways = [(float(p), s) for s, p in zip(spoilers, share, strict=True) if s.readings == mine]
        probability = sum(p for p, _ in ways)
        if probability >= least:
            rows.append(
                _row(j, [j.seen.numbers[i] for i in mine], probability, max(ways, key=lambda x: x[0])[1])
            )
    return rows


def _row(j: Judgement, taken: list[Observation], probability: float, way: Spoiler) -> Json:
    first = taken[0]
    lead = first.spot.b if first.spot is not None and first.spot.b else battery_minus(j.circuit)
    object_ = fault_json(j.circuit, Fault("instrument_wrong", Term(lead.part, "")))
    lines = ", ".join(str(o.line) for o in taken)
    tool = first.tool if first.whose == "mine" else f"{first.tool} of the {first.whose}"
    tool += f" of {first.by}" if first.by else ""
    shows = (
        "shows next to nothing" if way.dead
        else "is off by one factor" if way.factor else "shows anything"
    )  # fmt: skip
    return {
        "rank": 0,
        "faults": [object_],
        "text": object_["text"],
        "words": object_["text"],
        "probability": probability,
        "severity": None,
        "repair": f"read the battery with the {tool}, then lines {lines} again with other leads",
        "repair_minutes": AGAIN_MIN,
        "equivalent": [],
        "renewed": [],
        "why": f"the {tool} or its reference lead {shows}: lines {lines} at once",
        "drawn": None,
    }


def ranked(rows: list[Json], top: int) -> tuple[list[Json], float]:
    """The likeliest rows, numbered, and the probability of everything else."""
    listed = sorted(rows, key=lambda r: -float(r["probability"]))[:top]
    for n, row in enumerate(listed, 1):
        row["rank"] = n
    return listed, max(0.0, 1.0 - sum(float(r["probability"]) for r in listed))
