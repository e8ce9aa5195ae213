"""A ngspice deck of a compiled network frozen in one discrete state: the kernel's own branches.

A branch that does not conduct is left out. Diodes are ngspice's own, the other laws are written out.
"""

from __future__ import annotations

import numpy as np

from amptrail.solve import laws
from amptrail.solve.network import Network
from amptrail.solve.records import Lane
from amptrail.solve.stamping import LEAK_S, conducts, linear

# k/q of ngspice (CODATA 2014; seen in a diode of its own, tests/exchange/test_kernel_ngspice.py); at its
# default 27 C its thermal voltage is 2.8e-5 above that of the laws, 20 uV in a diode's volts
BOLTZMANN_V_K = 1.38064852e-23 / 1.6021766208e-19
TEMPERATURE_C = laws.THERMAL_V / BOLTZMANN_V_K - 273.15
_SAME = f"temp={TEMPERATURE_C!r} tnom={TEMPERATURE_C!r} gmin={laws.DIODE_LEAK_S!r} itl1=2000"
TIGHT = f".options reltol=1e-8 abstol=1e-13 vntol=1e-9 {_SAME}"
LOOSE = f".options {_SAME}"  # ngspice's own tolerances
# where it finds no end otherwise
ROBUST = f".options reltol=1e-6 abstol=1e-9 vntol=1e-7 gminsteps=50 srcsteps=50 {_SAME}"


def node(net: Network, n: int) -> str:
    """The name of a node; the reference is 0."""
    return "0" if n == net.static.ground else f"n{n}"


def law_text(kind: int, x: str, p: tuple[float, ...]) -> str:
    """Amperes of a nonlinear kind as an expression of its element voltage."""
    if kind == laws.BATTERY:
        return f"(({x})+{p[0]!r})/((({x})+{p[0]!r}) > 0 ? {max(p[1], 1e-6)!r} : {max(p[2], 1e-6)!r})"
    if kind == laws.LAMP:
        y = f"(({x})/{p[0]!r})"
        return f"{p[1] / p[0]!r}*{y}*pow({y}*{y}+1.6e-5,-0.225)"
    if kind == laws.MOTOR:
        return _motor(x, p)
    if kind == laws.ONEWAY:
        return f"min(max((({x})+{p[0]!r})/{max(p[1], 1e-6)!r},0),{min(p[2], 1e30)!r})"
    return f"min(max(({x})/{max(p[0], 1e-6)!r},{-p[1]!r}),{p[1]!r})"


def _motor(x: str, p: tuple[float, ...]) -> str:
    ohm, breaks, runs, rated = p
    knee = ohm * breaks
    if rated <= knee:
        return f"({x})/{ohm!r}"
    slope = (runs - breaks) / (rated - knee)
    return f"(abs({x}) <= {knee!r} ? ({x})/{ohm!r} : sgn({x})*({breaks!r}+{slope!r}*(abs({x})-{knee!r})))"


def _nonlinear(net: Network, lane: Lane, b: int, copies: tuple[tuple[str, str], ...]) -> list[str]:
    kind, a, z = int(lane.kind[b]), node(net, lane.na[b]), node(net, lane.nb[b])
    p = tuple(float(v) for v in lane.p[b])
    series = float(lane.series[b]) + (p[2] if kind == laws.DIODE else 0.0)
    inner = f"i{b}" if series > 0 else z
    lines = [f"R{b} {inner} {z} {series!r}"] if series > 0 else []
    if kind == laws.DIODE:
        return [*lines, f".model D{b} D(is={p[0]!r} n={p[1]!r})", f"D{b} {a} {inner} D{b}"]
    law = law_text(kind, f"v({a})-v({inner})", p)
    return [*lines, f"B{b} {a} {inner} I={law}", *(f"B{b}c {f} {t} I={law}" for f, t in copies)]


def deck(
    net: Network, lane: Lane, state: np.ndarray, phase: int, options: str = TIGHT, since: float = 0.0
) -> list[str]:
    """Title, elements and options; no `.end`, no commands. Resistance of branch b is `R{b}`. `since`: the
    share of a pulsed output's period that is over (those of a longer duty conduct)."""
    s = net.static
    lines = [f"* {len(net.branches)} branches in phase {phase}"]
    copy_of = {int(r): int(c) for r, c in s.refs}
    for b in range(lane.kind.size):
        kind, a, z = int(lane.kind[b]), node(net, lane.na[b]), node(net, lane.nb[b])
        if kind in (laws.NONE, laws.CURRENT) or lane.open[b] or a == z:
            continue
        if not conducts(s, lane, phase, state, int(s.gate[b]), int(s.unit[b])):
            continue
        if kind == laws.RES:
            r, e = linear(s, lane, state, since, b)
            lines.append(f"B{b} {a} {z} I=(v({a})-v({z})-({e!r}))/{r!r}" if e else f"R{b} {a} {z} {r!r}")
            continue
        c = copy_of.get(b)
        ends = () if c is None else ((node(net, lane.na[c]), node(net, lane.nb[c])),)
        lines += _nonlinear(net, lane, b, ends)
    lines += [f"RL{n} n{n} 0 {1 / LEAK_S!r}" for n in range(s.nodes) if n != s.ground]
    return [*lines, options]


def frozen_netlist(
    net: Network,
    lane: Lane,
    state: np.ndarray,
    phase: int,
    options: str = TIGHT,
    near: np.ndarray | None = None,
    named: bool = False,
    since: float = 0.0,
) -> str:
    """A whole deck that prints every node's volts. `near`: where ngspice is to start from, V by node number;
    `named`: a remark a node says which terminal it is; `since`: as in `deck`."""
    lines = deck(net, lane, state, phase, options, since)
    nodes = [n for n in range(net.static.nodes) if n != net.static.ground]
    if named:
        lines[1:1] = [f"* {node(net, n)} = {_plain(net.node_name(n))}" for n in range(net.static.nodes)]
    if near is not None:
        lines += [f".nodeset v({node(net, n)})={float(near[n])!r}" for n in nodes]
    prints = [f"print v({node(net, n)})" for n in nodes]
    return "\n".join([*lines, ".control", "set numdgt=16", "op", *prints, "quit", ".endc", ".end", ""])


def _plain(text: str) -> str:
    return text.encode("ascii", "replace").decode()
