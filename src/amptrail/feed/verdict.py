"""judge(): one feed against every rule of a purpose. Pure: circuit in, verdict out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from types import ModuleType
from typing import Any, Literal

from amptrail.circuit.model import Circuit, Fault, Feed
from amptrail.errors import one
from amptrail.feed.case import Case
from amptrail.feed.corners import COLD_V, pushed, ranges, supply
from amptrail.feed.evidence import Changes, Lives, lives, switch_names
from amptrail.feed.extra import extra_of
from amptrail.feed.fitting import Fitted, fit
from amptrail.feed.flags import flags_of, interlock_switches
from amptrail.feed.marks import Mark, Purpose, Severity
from amptrail.feed.races import races
from amptrail.feed.rules import ORACLE, RULES
from amptrail.feed.shape import chains
from amptrail.feed.worst import Corner, alone, cases, corners, turning

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
    worst: dict[str, Mark]
    true_only_if: tuple[str, ...] = ()
    doubtful: tuple[Mark, ...] = ()

    @property
    def rule(self) -> str | None:
        """The rule that names the verdict: the first broken (or in doubt) in the order of the contract."""
        named = self.broken or self.doubtful
        return named[0].rule if named else None


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


@dataclass(frozen=True, slots=True)
class _Sorted:
    broken: list[Mark]
    notes: list[Mark]
    already: list[Mark]
    marks: list[Mark]


def _sort(case: Case, rules: Sequence[ModuleType], purpose: Purpose) -> _Sorted:
    """Every mark of a case: refused, noted, or broken by the healthy vehicle as well."""
    marks = gather(case, rules)
    so = {m.where for _, m in gather(case.healthy(), rules) if not m.ok} if not case.oracle else set()
    out = _Sorted([], [], [], [m for _, m in marks])
    for rule, m in marks:
        weight = severity(rule, m, purpose, case.oracle)
        if m.ok or weight == "off":
            continue
        told = replace(m, severity=weight)
        (out.already if m.where in so else out.broken if weight == "refuse" else out.notes).append(told)
    return out


def _merge(first: list[Mark], more: Iterable[Mark], corner: str) -> None:
    """Marks of a corner that nominal values do not have, with the corner's name."""
    have = {m.where for m in first}
    first += [replace(m, more=(*m.more, ("corner", corner))) for m in more if m.where not in have]


def _in_order(marks: Iterable[Mark], rules: Sequence[ModuleType]) -> tuple[Mark, ...]:
    order = {r.NAME: n for n, r in enumerate(rules)}
    return tuple(sorted(marks, key=lambda m: order[m.rule]))


def judge(
    circuit: Circuit,
    feed: Feed,
    purpose: Purpose = "leave",
    against: tuple[Fault, ...] = (),
    *,
    oracle: bool = False,
    nominal: bool = False,
) -> Verdict:
    """Judge a feed. `against`: the fault to bridge (default: the feed's own).

    `nominal` keeps to the values of the sheet; else every rule is looked at in the corners of the worst case
    too. `oracle` limits rules and definitions to those of the oracle's jumper files: with `nominal` the
    verdict is then `holds` exactly when its flags accept. InputError when the feed cannot be laid.
    """
    f = fit(circuit, feed, against)
    if feed.parts and not chains(f):
        raise one("feed-leads-nowhere", f"feed {feed.name} leads from no point of the sheet to another",
                  remedy="give it a source and an end: from A to B")  # fmt: skip
    rules = ORACLE if oracle else RULES
    evidence, told = _nominal(f, purpose, oracle)
    worst: dict[str, Mark] = dict(_margins(told.marks))
    doubts = _Doubts((), ())
    if not nominal:
        _lived_at(f, purpose, told, worst, corners(f, purpose, True), rules, oracle)
        doubts = _doubts(f, purpose, told, rules, oracle)
        if not told.broken and not doubts.marks:
            doubts = _Doubts((), races(f, evidence.plain_starts))
    broken = _in_order(told.broken, rules)
    word: Word = "undecided" if doubts.marks else "refused" if broken else "holds"
    if doubts.marks:
        broken = ()  # they are in doubt, not found
    return Verdict(
        f,
        purpose,
        word,
        broken,
        _in_order(told.notes, rules),
        _in_order(told.already, rules),
        dict(_margins(told.marks)),
        flags_of(evidence),
        evidence,
        worst,
        doubts.names,
        doubts.marks,
    )


def _nominal(f: Fitted, purpose: Purpose, oracle: bool, extra: Changes = ()) -> tuple[Lives, _Sorted]:
    """Every rule on the values of the sheet (`extra`: but for these)."""
    switches = interlock_switches(f.circuit)
    if oracle:
        evidence = lives(f, switches, extra=extra)
        return evidence, _sort(Case(evidence, purpose, True), ORACLE, purpose)
    others = (*switch_names(f.network), *f.network.drivers)
    evidence = lives(f, switches, extra=extra, named=True, also_held=others)
    return evidence, _sort(Case(evidence, purpose, extra=extra_of(f, extra)), RULES, purpose)


def _lived_at(
    f: Fitted,
    purpose: Purpose,
    told: _Sorted,
    worst: dict[str, Mark],
    where: Sequence[Corner],
    rules: Sequence[ModuleType],
    oracle: bool,
) -> None:
    """Add what breaks at some corners to what breaks nominally."""
    for c in cases(f, purpose, where):
        at = _sort(replace(c, oracle=oracle), rules, purpose)
        _merge(told.broken, at.broken, c.corner)
        _merge(told.notes, at.notes, c.corner)
        _merge(told.already, at.already, c.corner)
        so = {m.where for m in at.already}
        for m in at.marks:
            if (
                m.side != "is"
                and m.where not in so
                and (m.rule not in worst or m.margin < worst[m.rule].margin)
            ):
                worst[m.rule] = replace(m, more=(*m.more, ("corner", c.corner)))


@dataclass(frozen=True, slots=True)
class _Doubts:
    """Defaults nobody confirmed that decide, and what they break or would mend."""

    names: tuple[str, ...]
    marks: tuple[Mark, ...]


def _doubts(f: Fitted, purpose: Purpose, told: _Sorted, rules: Sequence[ModuleType], oracle: bool) -> _Doubts:
    """A default that would turn the verdict: one that breaks what holds, or mends what is broken."""
    if all(r.said for r in ranges(f.network)):
        return _Doubts((), ())
    if told.broken:
        for name, ends in turning(f, purpose, told.broken):
            changes = pushed(f.network, ends, False)
            mended = _nominal(f, purpose, oracle, changes)[1]
            worst: dict[str, Mark] = {}
            corner = [Corner("cold", (*supply(f.network, COLD_V, COLD_V), *changes))]
            _lived_at(f, purpose, mended, worst, corner, rules, oracle)
            if not mended.broken:
                return _Doubts((name,), _in_order(told.broken, rules))
        return _Doubts((), ())
    found = _Sorted([], [], [], [])
    _lived_at(f, purpose, found, {}, corners(f, purpose, False), rules, oracle)
    if not found.broken:
        return _Doubts((), ())
    guilty = [n for n, ends in alone(f) if _breaks(f, purpose, ends, rules, oracle)]
    return _Doubts(tuple(guilty or [r.name for r in ranges(f.network) if not r.said]), tuple(found.broken))


def _breaks(
    f: Fitted, purpose: Purpose, ends: tuple[int, ...], rules: Sequence[ModuleType], oracle: bool
) -> bool:
    found = _Sorted([], [], [], [])
    low = supply(f.network, COLD_V, COLD_V)
    both = [
        Corner("default", pushed(f.network, ends, False)),
        Corner("cold", (*low, *pushed(f.network, ends, False))),
    ]
    _lived_at(f, purpose, found, {}, both, rules, oracle)
    return bool(found.broken)
