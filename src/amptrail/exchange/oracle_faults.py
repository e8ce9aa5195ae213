"""Branches and fault primitives of the oracle format, both ways."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from amptrail.circuit.model import Circuit, Driver, Fault, Input, Reference, Supply, Term, key
from amptrail.errors import nearest, one
from amptrail.exchange.oracle_words import (
    BY_PART,
    BY_PART_OUT,
    CONTACT_IN,
    CONTACT_OUT,
    KIND_OUT,
    NUMBERS,
    Json,
    is_cavity,
)

BODY_NET, PLUS_NET = "body", "bat+"


def branch_in(branch: str, parts: Mapping[str, Json]) -> Term:
    """`K1.no` -> K1.87, `S1.0` -> S1.1 (legs count from 1), `X1/17` -> X1.17, `F1` -> F1."""
    known = list(parts)
    if branch in parts:
        p = parts[branch]
        return Term(p["connector"], str(p["cavity"])) if is_cavity(p) else Term(branch, "")
    owners = [i for i in known if branch.startswith(i + ".")]
    if not owners:
        raise one("oracle-branch", f"no part has the branch {branch}", nearest=nearest(branch, known))
    part = max(owners, key=len)
    rest = branch[len(part) + 1 :]
    if rest.isdigit():
        return Term(part, str(int(rest) + 1))
    return Term(part, CONTACT_IN.get(rest, rest))


def branch_out(circuit: Circuit, at: Term) -> str:
    """The oracle's name of a branch of the model."""
    if not at.name:
        return at.part
    for p in circuit.parts:
        if key(p.name) == key(at.part):
            if p.kind in ("connector", "box"):
                return f"{at.part}/{at.name}"
            if p.kind in ("splice", "ground"):
                return f"{at.part}.{int(at.name) - 1}"
            if p.kind == "module":
                return _module_branch(circuit, at)
    return f"{at.part}.{CONTACT_OUT.get(at.name, at.name)}"


def _module_branch(circuit: Circuit, at: Term) -> str:
    supplies = 0
    for x in circuit.modules:
        if key(x.module) != key(at.part):
            continue
        if isinstance(x, Supply):
            if key(x.pin) == key(at.name):
                return f"{at.part}.sup{supplies}"
            supplies += 1
        if isinstance(x, (Input, Driver, Reference)) and key(at.name) in (key(x.pin), key(x.name)):
            word = {Input: "in", Driver: "drv", Reference: "ref"}[type(x)]
            return f"{at.part}.{word}.{x.name}"
    return f"{at.part}.{at.name}"


def _bridge_in(f: Json) -> Fault:
    a, b = f["nets"]
    if b in (BODY_NET, PLUS_NET):
        return Fault("to_ground" if b == BODY_NET else "to_supply", Term("", a), ohm=f["ohm"])
    return Fault("to_point", Term("", a), to=Term("", b), ohm=f["ohm"])


def fault_in(f: Json, parts: Mapping[str, Json]) -> Fault:
    """One primitive of a fault set."""
    kind = f["type"]
    if kind == "open":
        return Fault("open", branch_in(f["branch"], parts))
    if kind == "series":
        return Fault("resistance", branch_in(f["branch"], parts), ohm=f["ohm"])
    if kind == "bridge":
        return _bridge_in(f)
    if kind in ("driver_dead", "driver_on"):
        module, _, driver = f["driver"].partition(".")
        return Fault("dead" if kind == "driver_dead" else "always_on", Term(module, driver))
    if kind == "module_dead":
        return Fault("module_dead", Term(f["part"], ""))
    if kind in BY_PART:
        return Fault(BY_PART[kind], branch_in(f["part"], parts))  # type: ignore[arg-type]
    if kind == "param":
        attribute = NUMBERS[parts[f["part"]]["kind"]].get(f["key"])
        if attribute is None:
            raise one("oracle-fault", f"part {f['part']}: no parameter {f['key']}")
        return Fault("has", branch_in(f["part"], parts), attribute=attribute, value=f["value"])
    raise one(
        "oracle-fault", f"fault type {kind!r} is not of this format", expected=(*BY_PART, "open", "series")
    )


def contact_names(circuit: Circuit, switch: str) -> tuple[str, ...]:
    """The switches of this format that one of the sheet becomes: one a contact, where it has positions."""
    part = next((p for p in circuit.parts if key(p.name) == key(switch)), None)
    contacts = part.contacts if part is not None else ()
    return tuple(f"{switch}.{c.a}-{c.b}" for c in contacts) or (switch,)


def faults_out(circuit: Circuit, f: Fault, net_of: Callable[[Term], str]) -> list[Json]:
    """A fault in the oracle's words; one of a whole switch with positions is one of each contact."""
    names = contact_names(circuit, f.at.part)
    if f.at.name or names == (f.at.part,):
        return [fault_out(circuit, f, net_of)]
    ends = (Term(f.at.part, n.removeprefix(f"{f.at.part}.")) for n in names)
    return [fault_out(circuit, replace(f, at=t), net_of) for t in ends]


def fault_out(circuit: Circuit, f: Fault, net_of: Callable[[Term], str]) -> Json:
    """One primitive in the oracle's words; InputError where the format has none."""
    if f.mode in ("open", "resistance"):
        more = {} if f.mode == "open" else {"ohm": f.ohm}
        return {"type": "open" if f.mode == "open" else "series", "branch": branch_out(circuit, f.at), **more}
    if f.mode in ("to_ground", "to_supply", "to_point"):
        other = {"to_ground": BODY_NET, "to_supply": PLUS_NET}.get(f.mode)
        to = other if other else net_of(f.to) if f.to else BODY_NET
        return {"type": "bridge", "nets": [net_of(f.at), to], "ohm": f.ohm}
    if f.mode in ("dead", "always_on"):
        return {
            "type": "driver_dead" if f.mode == "dead" else "driver_on",
            "driver": f"{f.at.part}.{f.at.name}",
        }
    if f.mode == "module_dead":
        return {"type": "module_dead", "part": f.at.part}
    if f.mode in BY_PART_OUT:
        return {"type": BY_PART_OUT[f.mode], "part": branch_out(circuit, f.at)}
    if f.mode == "has" and f.attribute:
        return {
            "type": "param",
            "part": branch_out(circuit, f.at),
            "key": _param(circuit, f),
            "value": f.value,
        }
    raise one("oracle-fault", f"{f.at}: this format has no fault {f.mode}")


def _param(circuit: Circuit, f: Fault) -> str:
    kind = next((p.kind for p in circuit.parts if key(p.name) == key(f.at.part)), "joint")
    names = {v: k for k, v in NUMBERS[KIND_OUT.get(kind, "pin")].items()}
    if f.attribute not in names:
        raise one(
            "oracle-fault", f"{f.at}: {f.attribute} is no parameter of this format", expected=tuple(names)
        )
    return names[str(f.attribute)]
