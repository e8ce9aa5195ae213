"""One form of a circuit to another: oracle (neutral JSON), sheet, netlist (ngspice), json (the model)."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any, Literal, get_args

from amptrail.circuit.model import Circuit
from amptrail.errors import nearest, one
from amptrail.exchange.oracle import from_circuit, to_circuit
from amptrail.sheet import parse, print_sheet

Form = Literal["oracle", "sheet", "netlist", "json"]
FORMS: tuple[str, ...] = get_args(Form)


def read_circuit(text: str, name: str = "") -> Circuit:
    """A circuit from oracle JSON (it begins with a brace) or from a sheet."""
    if not text.lstrip().startswith("{"):
        return parse(text, name)
    try:
        d = json.loads(text)
    except json.JSONDecodeError as e:
        raise one("json", f"not JSON: {e.msg}", line=e.lineno, column=e.colno) from e
    return to_circuit(d)


def dump(x: Any) -> Any:
    """The model as plain lists and dicts, each record with its class under `is`."""
    if dataclasses.is_dataclass(x) and not isinstance(x, type):
        fields = {f.name: dump(getattr(x, f.name)) for f in dataclasses.fields(x) if f.init}
        return {"is": type(x).__name__, **fields}
    if isinstance(x, (tuple, list)):
        return [dump(y) for y in x]
    return x


def netlists(circuit: Circuit) -> str:
    """One netlist a phase of the healthy drive cycle, one after the other; a phase that never comes to rest
    leaves a remark in its place."""
    # the solver is loaded only for this form
    from amptrail.exchange.deck import frozen_netlist
    from amptrail.solve import CHATTER, assemble, run
    from amptrail.solve.records import Lane

    net = assemble(circuit)
    runs = run(net, [()])
    lane = Lane(*(a[0] for a in runs.lanes))
    out = []
    for k, phase in enumerate(net.phases):
        if runs.status[0, k] >= CHATTER:
            out.append(f"* {phase.name}: never at rest, so there is no operating point to write\n")
            continue
        head = f"* phase {phase.name}, frozen in its settled state\n"
        out.append(head + frozen_netlist(net, lane, runs.snapshot.state[0, k], k, named=True))
    return "\n".join(out)


def convert(source: Path | str, to: str) -> str:
    """The circuit of a file (Path) or of a text (str) in another form, as text."""
    if to not in FORMS:
        raise one("form", f"there is no form {to!r}", expected=FORMS, nearest=nearest(to, FORMS))
    if isinstance(source, Path):
        try:
            text, name = source.read_text(encoding="utf-8"), source.stem
        except (OSError, UnicodeDecodeError) as e:
            raise one("file", f"{source.name} cannot be read: {e.__class__.__name__}") from e
    else:
        text, name = source, ""
    circuit = read_circuit(text, name)
    if to == "sheet":
        return print_sheet(circuit)
    if to == "netlist":
        return netlists(circuit)
    return (
        json.dumps(from_circuit(circuit) if to == "oracle" else dump(circuit), indent=1, ensure_ascii=False)
        + "\n"
    )
