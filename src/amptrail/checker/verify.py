"""check(): is this a proof that this feed holds on this sheet?"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache

from amptrail.checker.data import Proof, RejectedError, read
from amptrail.checker.needs import NAMES, RULES, corners, plain_starts, refuses, starts, stories
from amptrail.checker.orders import decided_by_order
from amptrail.checker.relive import Garage, compare
from amptrail.checker.shape import Shape, area
from amptrail.checker.told import Mark, Told
from amptrail.checker.vehicle import Job, job_of, metal, term_of
from amptrail.circuit.model import key
from amptrail.circuit.phases import drive_cycle
from amptrail.errors import ModelError

NEAR = 1e-6  # numbers of a corner or margin agree to this share


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether the proof holds; if not, where it fails first and why."""

    valid: bool
    step: str | None
    reason: str


@lru_cache(maxsize=4)
def _garage(sheet_text: str, feed: tuple[str, ...], against: str | None) -> Garage:
    return Garage(job_of(sheet_text, feed, against))


def check(proof_text: str, sheet_text: str) -> Answer:
    """Check a proof against a sheet. InputError when the proof cannot be read or the sheet is unsound."""
    proof = read(proof_text)
    try:
        _same_sheet(proof, sheet_text)
        garage = _garage(sheet_text, proof.feed, proof.against)
        _complete(proof, garage.job)
        done: set[object] = set()
        for k in proof.stories:
            compare(proof, garage, k, done)
        marks = _rules(proof, garage.job)
        raced = decided_by_order(garage.job, plain_starts(garage.job.sheet))
        if raced is not None:
            raise RejectedError(f"race: what switches first decides about {raced[2]}", ", ".join(raced[:2]))
        _margins(proof, garage.job, marks)
    except RejectedError as e:
        return Answer(False, e.step, e.reason)
    except ModelError as e:
        return Answer(False, None, f"the circuit of the proof cannot be computed: {e}")
    many = sum(len(s) for s in proof.stories.values())
    return Answer(True, None, f"{len(proof.rules)} rules hold over {many} steps of {len(proof.stories)} "
                              f"stories at {len(proof.corners)} corners")  # fmt: skip


def _same_sheet(proof: Proof, sheet_text: str) -> None:
    if hashlib.sha256(sheet_text.encode()).hexdigest() != proof.sheet_sha256:
        raise RejectedError("the proof is for another sheet: every letter of it counts", "sheet_sha256")


def _complete(proof: Proof, job: Job) -> None:
    """Rules, starts, phases, corners and stories are all there, in their order."""
    if proof.laws != job.sheet.laws:
        raise RejectedError(f"the sheet's laws are {job.sheet.laws}, not {proof.laws}", "laws")
    _all_there(proof.rules, NAMES, "rule")
    _all_there(proof.starts, starts(job.sheet), "start")
    _all_there(proof.phases, tuple(p.name for p in drive_cycle(job.sheet)), "phase")
    bare = tuple(f"{p.name} area_mm2" for p in job.feed.parts if p.kind == "wire" and area(p) is None)
    if proof.true_only_if != bare:
        raise RejectedError(
            f"it is true only if these are so: {', '.join(bare) or 'nothing'}", "true_only_if"
        )
    if proof.corners.get("nominal") != {}:
        raise RejectedError("the nominal corner is missing or changes something", "corners")
    have = list(proof.corners.values())
    for name, values in corners(job).items():
        if not any(_alike(values, x) for x in have):
            raise RejectedError(f"the corner is missing in which {name}", "corners")
    wanted = set(stories(job, Shape.of(job), tuple(proof.corners)))
    for k in sorted(wanted - set(proof.stories), key=str):
        raise RejectedError("a story is missing", str(k))
    for k in sorted(set(proof.stories) - wanted, key=str):
        raise RejectedError("a story nobody asked for", str(k))


def _all_there(said: tuple[str, ...], wanted: tuple[str, ...], what: str) -> None:
    if said == wanted:
        return
    for name in wanted:
        if name not in said:
            raise RejectedError(f"the {what} {name} is missing", f"{what}s")
    for name in said:
        if name not in wanted:
            raise RejectedError(f"no {what} is called {name}", f"{what}s")
    raise RejectedError(f"the {what}s are not in their order", f"{what}s")


def _alike(a: dict[str, float], b: dict[str, float]) -> bool:
    return set(a) == set(b) and all(abs(b[n] - v) <= NEAR * abs(v) for n, v in a.items())


def _rules(proof: Proof, job: Job) -> list[Mark]:
    """Every rule at every corner; rejected at the first that is broken and that the healthy vehicle keeps.
    Gives the marks of the nominal corner."""
    shape = Shape.of(job)
    nominal: list[Mark] = []
    for corner in proof.corners:
        mine = {k: s for k, s in proof.stories.items() if k.corner == corner}
        told = Told(job, shape, mine, corner, proof.purpose)
        marks = [m for rule in RULES for m in rule(told)]
        if corner == "nominal":
            nominal = marks
        broken = [m for m in marks if not m.ok and refuses(m, proof.purpose)]
        if not broken:
            continue
        so = {m.where for rule in RULES for m in rule(told.healthy()) if not m.ok}
        for m in (m for m in broken if m.where not in so):
            text = f"{m.rule} is broken: {m.part} has {m.figure:g} where the limit is {m.limit:g}"
            raise RejectedError(text, f"{corner}, start {m.start}, {m.phase}")
    return nominal


def _margins(proof: Proof, job: Job, marks: list[Mark]) -> None:
    """The closest figure of each rule, places where it is broken left out, is the one told."""
    broken = {m.where for m in marks if not m.ok}
    closest: dict[str, float] = {}
    for m in marks:
        if m.ok and m.side != "is" and m.where not in broken:
            closest[m.rule] = min(m.margin, closest.get(m.rule, m.margin))
    if set(closest) != set(proof.margins):
        odd = min(set(closest) ^ set(proof.margins))
        raise RejectedError(f"the margin of {odd} is not as it should be", "margins")
    for rule, said in proof.margins.items():
        here = [m for m in marks if m.where[:3] == (rule, said.start, said.phase)]
        fits = any(
            _same(job, m.part, said.part) and _near(m.figure, said.figure) and _near(m.limit, said.limit)
            for m in here
        )
        if not _near(said.margin, closest[rule]) or not fits:
            raise RejectedError(f"the margin of {rule} is {closest[rule]:.6g}", f"margins.{rule}")


def _same(job: Job, a: str, b: str) -> bool:
    """Whether two names are one part, or two points of one metal."""
    if key(a) == key(b):
        return True
    metals = [metal(job.fed, term_of(job.fed, x)) for x in (a, b)]
    return metals[0] is not None and metals[0] == metals[1]


def _near(a: float, b: float) -> bool:
    return abs(a - b) <= 1e-5 * max(1.0, abs(b))
