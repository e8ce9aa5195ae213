"""The model as plain lists and dicts and back: every record with its class under `is`, nothing left out."""

from __future__ import annotations

import dataclasses
from typing import Any

from amptrail.circuit import model
from amptrail.circuit.model import Circuit
from amptrail.errors import nearest, one

RECORDS = {n: x for n, x in vars(model).items() if isinstance(x, type) and dataclasses.is_dataclass(x)}


def _said(record: type) -> tuple[str, ...]:
    """Fields a record is made from; what it keeps for itself is not written."""
    return tuple(f.name for f in dataclasses.fields(record) if f.init)


def dump(x: Any) -> Any:
    """A record, tuple or plain value of the model as JSON can hold it."""
    if dataclasses.is_dataclass(x) and not isinstance(x, type):
        return {"is": type(x).__name__, **{n: dump(getattr(x, n)) for n in _said(type(x))}}
    if isinstance(x, (tuple, list)):
        return [dump(y) for y in x]
    return x


def undump(x: Any) -> Any:
    """What `dump` made, back; InputError for a record or field the model does not have."""
    if isinstance(x, list):
        return tuple(undump(y) for y in x)
    if not isinstance(x, dict):
        return x
    name = str(x.get("is"))
    record = RECORDS.get(name)
    if record is None:
        raise one("json-record", f"there is no record {name!r}", nearest=nearest(name, tuple(RECORDS)))
    known = _said(record)
    for k in x:
        if k != "is" and k not in known:
            raise one("json-field", f"{name} has no field {k!r}", expected=known, nearest=nearest(k, known))
    try:
        return record(**{k: undump(v) for k, v in x.items() if k != "is"})
    except TypeError as e:
        raise one("json-field", f"{name} lacks a field: {e}", expected=known) from e


def circuit_of(d: dict[str, Any]) -> Circuit:
    """The circuit of a dumped one."""
    got = undump(d)
    if not isinstance(got, Circuit):
        raise one("json-record", f"a {type(got).__name__} is no circuit", expected=("Circuit",))
    return got
