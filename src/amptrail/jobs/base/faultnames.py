"""Fault texts and fault objects: the same words on the command line, in answers and on paper."""

from __future__ import annotations

from functools import lru_cache

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.errors import one
from amptrail.faults import catalogue
from amptrail.jobs.base.context import Json
from amptrail.sheet import fault_text, parse_fault


def fault_json(circuit: Circuit, fault: Fault) -> Json:
    """The fault object of the contract; `text` parses back to the same object."""
    return {
        "text": fault_text(circuit, (fault,)),
        "part": fault.at.part or fault.at.name,
        "terminal": fault.at.name if fault.at.part and fault.at.name else None,
        "mode": fault.mode,
        "to": str(fault.to) if fault.to else None,
        "ohm": fault.ohm,
        "value": fault.value,
    }


@lru_cache(maxsize=4096)
def named_or_text(circuit: Circuit, text: str) -> tuple[Fault, ...]:
    """A fault by its name in the sheet, or by its words."""
    for f in circuit.faults:
        if key(f.name) == key(text.strip()):
            return f.faults
    return parse_fault(circuit, text)


def fault_objects(circuit: Circuit) -> list[Json]:
    """The sheet's own faults, then the catalogue's, as fault objects with priors."""
    rows: list[Json] = []
    for f in circuit.faults:
        objects = [fault_json(circuit, x) for x in f.faults]
        first = objects[0]
        rows.append(
            {
                **first,
                "text": fault_text(circuit, f.faults),
                "name": f.name,
                "said": f.text,
                "prior": None,
                "parts": [o["part"] for o in objects],
            }
        )
    for h in catalogue(circuit):
        if not h.faults:
            continue
        first = fault_json(circuit, h.faults[0])
        rows.append(
            {
                **first,
                "text": fault_text(circuit, h.faults),
                "name": None,
                "said": None,
                "prior": h.prior,
                "parts": [x.at.part for x in h.faults],
            }
        )
    return rows


def read_fault_file(circuit: Circuit, text: str) -> list[tuple[str, tuple[Fault, ...]]]:
    """One fault, or `A and B`, per line; blank lines and `#` remarks are passed over."""
    found = []
    for number, raw in enumerate(text.splitlines(), 1):
        line = raw.split("#", 1)[0].strip()
        if line:
            try:
                found.append((line, named_or_text(circuit, line)))
            except Exception as e:
                if hasattr(e, "problems") and e.problems:
                    p = e.problems[0]
                    raise one(p.code, p.message, line=number, column=p.column, expected=p.expected,
                              nearest=p.nearest, remedy=p.remedy) from e  # fmt: skip
                raise
    return found
