"""One form of a circuit to another: oracle (neutral JSON), sheet, netlist and transient (ngspice), json (the
model)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Literal, get_args

from amptrail.circuit.model import Circuit
from amptrail.errors import nearest, one
from amptrail.exchange.oracle import from_circuit, to_circuit
from amptrail.exchange.plain import circuit_of, dump
from amptrail.sheet import parse, print_sheet

Form = Literal["oracle", "sheet", "netlist", "transient", "json"]
FORMS: tuple[str, ...] = get_args(Form)


def read_circuit(text: str, name: str = "") -> Circuit:
    """A circuit from JSON (it begins with a brace: the oracle's, or the model's own) or from a sheet."""
    if not text.lstrip().startswith("{"):
        return parse(text, name)
    try:
        d = json.loads(text, parse_constant=_not_a_number)
    except json.JSONDecodeError as e:
        raise one("json", f"not JSON: {e.msg}", line=e.lineno, column=e.colno,
                  remedy="give a circuit in the neutral format as JSON, or a sheet") from e  # fmt: skip
    return circuit_of(d) if isinstance(d, dict) and "is" in d else to_circuit(d)


def _not_a_number(word: str) -> float:
    raise one("json", f"{word} is not a number a circuit can have", remedy="write a finite number")


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


def lives(circuit: Circuit) -> str:
    """A ngspice deck that lives through the whole healthy drive."""
    from amptrail.exchange.transient import of_circuit
    from amptrail.solve import assemble, run
    from amptrail.solve.records import Lane

    net = assemble(circuit)
    return of_circuit(net, Lane(*(a[0] for a in run(net, [()]).lanes)))


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
    if to == "transient":
        return lives(circuit)
    return (
        json.dumps(from_circuit(circuit) if to == "oracle" else dump(circuit), indent=1, ensure_ascii=False)
        + "\n"
    )
