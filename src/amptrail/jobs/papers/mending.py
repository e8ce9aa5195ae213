"""The proven fault as paper shows it, with its repair: as suspected, else as the catalogue knows it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.faults import catalogue
from amptrail.paper.facts import Found
from amptrail.sheet import fault_text

FIGURE = r" [\d.e+-]+ [kM]?ohm"


def mended(circuit: Circuit, faults: tuple[Fault, ...], found: Sequence[Found]) -> tuple[Found | None, Found]:
    """(the suspect that is the proven fault, if it was one; the proven fault)."""
    words = fault_text(circuit, faults)
    alone = re.sub(FIGURE, "", words)  # two faults are no suspect that is only one of them
    same = next((f for f in found if key(f.words) in (key(words), key(alone))), None)
    # told apart from it by nothing, but with a repair of its own: of that, only the size is shared
    beside = same or next((f for f in found if words in f.others), None)
    size = "" if beside is None or re.search(FIGURE, words) else beside.size
    if same is not None and same.repair_min > 0:
        return same, replace(same, words=words, size=size)
    repair, minutes = _repair(circuit, faults)
    if same is not None:  # renewed already: what the repair was is known all the same
        return same, replace(same, words=words, size=size, repair=repair or same.repair, repair_min=minutes)
    return None, Found(words, size, repair or "see below", minutes, 1.0)


def _repair(circuit: Circuit, faults: tuple[Fault, ...]) -> tuple[str, float]:
    """What mends these faults, and its minutes; nothing where no table knows one of them."""
    known = {_kind(h.faults[0]): h for h in catalogue(circuit) if len(h.faults) == 1}
    rows = [known.get(_kind(f)) for f in faults]
    told = [h for h in rows if h is not None]
    if not told or len(told) < len(rows):
        return "", 0.0
    return "; ".join(dict.fromkeys(h.repair for h in told)), sum(h.repair_minutes for h in told)


def _kind(f: Fault) -> tuple[str, str, str]:
    return key(f.at.part), key(f.at.name), f.mode
