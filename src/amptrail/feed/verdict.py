"""judge(): one feed against every rule of a purpose. Pure: circuit in, verdict out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from types import ModuleType
from typing import Any, Literal

from amptrail.circuit.model import Circuit, Fault, Feed
from amptrail.feed.case import Case
from amptrail.feed.evidence import Lives, lives, switch_names
from amptrail.feed.extra import extra_of
from amptrail.feed.fitting import Fitted, fit
from amptrail.feed.flags import flags_of, interlock_switches
from amptrail.feed.marks import Mark, Purpose, Severity
from amptrail.feed.rules import ORACLE, RULES

Json = dict[str, Any]
Word = Literal["holds", "refused", "undecided"]


@dataclass(frozen=True, eq=False)
class Verdict:
    """What is thought of one feed. `broken` are the marks that refuse it, in the order of the rules; `notes`
    those that only need saying; `already_so` what the healthy vehicle breaks as well."""

    fitted: Fitted
    purpose: Purpose
    verdict: Word
    broken: tuple[Mark, ...]
    notes: tuple[Mark, ...]
    already_so: tuple[Mark, ...]
    margins: dict[str, Mark]
    flags: Json
    lives: Lives

    @property
    def rule(self) -> str | None:
        """The rule that names the verdict: the first broken one in the order of the contract."""
        return self.broken[0].rule if self.broken else None


def severity(rule: ModuleType, mark: Mark, purpose: Purpose, oracle: bool) -> Severity:
    """What a broken mark means for a purpose; the oracle's flags know no purpose."""
    if oracle:
        return "refuse"
    said: Severity = rule.SEVERITY[purpose]
    if mark.severity is None or said == "off":
        return said
    return mark.severity


def gather(case: Case, rules: Sequence[ModuleType]) -> list[tuple[ModuleType, Mark]]:
    """Every mark of every rule; of several at one place the one closest to, or furthest past, its limit."""
    found: list[tuple[ModuleType, Mark]] = []
    for rule in rules:
        kept: dict[tuple[str, str, str, str], Mark] = {}
        for mark in rule.marks(case):
            old = kept.get(mark.where)
            if old is None or (mark.ok, mark.margin) < (old.ok, old.margin):
                kept[mark.where] = mark
        found += [(rule, m) for m in kept.values()]
    return found


def _margins(marks: Iterable[Mark]) -> dict[str, Mark]:
    """The mark of each kept rule that comes closest to its limit."""
    found: dict[str, Mark] = {}
    for m in marks:
        if m.ok and m.side != "is" and (m.rule not in found or m.margin < found[m.rule].margin):
            found[m.rule] = m
    return found


def judge(
    circuit: Circuit,
    feed: Feed,
    purpose: Purpose = "leave",
    against: tuple[Fault, ...] = (),
    *,
    oracle: bool = False,
) -> Verdict:
    """Judge a feed on the values of the sheet. `against`: the fault to bridge (default: the feed's own).

    `oracle` limits rules and definitions to those of the oracle's jumper files: then the verdict is `holds`
    exactly when its flags accept. InputError when the feed cannot be laid over the circuit.
    """
    f = fit(circuit, feed, against)
    switches = interlock_switches(f.circuit)
    if oracle:
        evidence = lives(f, switches)
    else:
        others = (*dict.fromkeys(switch_names(f.network)), *f.network.drivers)
        evidence = lives(f, switches, named=True, also_held=others)
    case = Case(evidence, purpose, oracle, extra=None if oracle else extra_of(f))
    rules = ORACLE if oracle else RULES
    marks = gather(case, rules)
    so = {m.where for _, m in gather(case.healthy(), rules) if not m.ok} if not oracle else set()
    broken: list[Mark] = []
    notes: list[Mark] = []
    already: list[Mark] = []
    for rule, m in marks:
        weight = severity(rule, m, purpose, oracle)
        if m.ok or weight == "off":
            continue
        if m.where in so:
            already.append(m)
        else:
            (broken if weight == "refuse" else notes).append(replace(m, severity=weight))
    word: Word = "refused" if broken else "holds"
    return Verdict(
        f,
        purpose,
        word,
        tuple(broken),
        tuple(notes),
        tuple(already),
        _margins(m for _, m in marks),
        flags_of(evidence),
        evidence,
    )
