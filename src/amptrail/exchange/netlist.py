"""A ngspice netlist of a circuit frozen in one discrete state, from the twin's elements.

Contacts, drivers and fuses that are open are simply not there; what is nonlinear is a current source of its
law, written out. Nodes are `n0`, `n1` … in the twin's order; the battery's minus post is `0`.
"""

from __future__ import annotations

from amptrail.circuit.model import Term
from amptrail.twin import Element, Moment
from amptrail.twin.laws import DIODE_S, V_T
from amptrail.twin.nodal import LEAK_S
from amptrail.twin.state import frozen

# tight enough that ngspice's own error is the smaller one; the later ones are for circuits it cannot end on
OPTIONS = (
    "reltol=1e-10 abstol=1e-15 vntol=1e-13 gmin=1e-18 itl1=2000 itl6=100",
    "reltol=1e-8 abstol=1e-13 vntol=1e-10 gmin=1e-16 itl1=2000",
    "reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-15 itl1=5000",
)


def node(n: int, reference: int) -> str:
    return "0" if n == reference else f"n{n}"


def _source(e: Element, a: str, b: str, c: str) -> str:
    """The current from a to b as an expression."""
    u, p = f"(v({a})-v({b}))", tuple(f"{x!r}" for x in e.p)
    match e.law:
        case "lamp":
            x = f"({u}/{p[0]})"
            return f"({p[1]}/{p[0]})*{x}*pow({x}*{x}+1.6e-5,-0.225)"
        case "motor":
            return _motor(e, u)
        case "diode":
            return f"{p[0]}*(exp(min({u}/{e.p[1] * V_T!r},300))-1)+{DIODE_S!r}*{u}"
        case "cell":
            return f"({p[0]}+{u})/(({p[0]}+{u}) > 0 ? {p[1]} : {p[2]})"
        case "oneway":
            return f"(({p[0]}+{u}) > 0 ? ({p[0]}+{u})/{p[1]} : 0)"
        case "ref":
            return f"min(max(({p[0]}-(v({b})-v({c})))/{p[1]},0),{p[2]})"
        case "sat":
            return f"min(max({u}/{p[0]},-{p[1]}),{p[1]})"
        case "res":
            return f"({u}-({p[1]}))/{p[0]}"


def _motor(e: Element, u: str) -> str:
    ohm, breaks, runs, rated = e.p
    knee = breaks * ohm
    if rated <= knee:
        return f"{u}/{ohm!r}"
    slope = (runs - breaks) / (rated - knee)
    return f"(abs({u}) <= {knee!r} ? {u}/{ohm!r} : sgn({u})*({breaks!r}+{slope!r}*(abs({u})-{knee!r})))"


def _line(i: int, e: Element, reference: int) -> str:
    a, b, c = (node(n, reference) for n in (e.a, e.b, e.c))
    if e.law == "res" and e.p[1] == 0.0:
        return f"R{i} {a} {b} {e.p[0]!r}"
    return f"B{i} {a} {b} I={_source(e, a, b, c)}"


def _label(t: Term) -> str:
    return str(t).encode("ascii", "replace").decode()


def spice(moment: Moment, *, guess: bool = True, options: str = OPTIONS[0]) -> str:
    """The netlist of a phase's last instant; `guess`: start from the twin's volts."""
    m = moment.machine
    b, ref = m.f.bench, m.reference
    here = frozen(m.f, moment.state, moment.phase)
    lines = [f"* amptrail: {_label(Term('', moment.phase.name))}, frozen in its settled state"]
    lines += [f"* {node(n, ref)} = {_label(t)}" for n, t in enumerate(b.names)]
    lines += [_line(i, e, ref) for i, e in enumerate(here)]
    lines += [f"RL{n} {node(n, ref)} 0 {1 / LEAK_S:.12g}" for n in sorted(b.hubs) if n != ref]
    used = sorted({n for e in here for n in (e.a, e.b)} | b.hubs)
    if guess:
        ours = moment.settled.solution.volts
        lines += [f".nodeset v({node(n, ref)})={ours[n]!r}" for n in used if n != ref]
    lines += [f".options {options}", ".control", "set numdgt=16", "op"]
    lines += [f"print v({node(n, ref)})" for n in used if n != ref]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])
