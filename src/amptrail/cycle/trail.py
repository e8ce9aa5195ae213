"""From a point up to what feeds it, or down to what grounds it: the largest current at every step."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from amptrail.cycle.timeline import Bits, Floats
from amptrail.solve import Network, laws
from amptrail.solve.records import Lane

LEAST_A = 1e-10  # below the 12 nA that every node leaks
HOPS = 60
SOURCES = (laws.BATTERY, laws.ONEWAY)


@dataclass(frozen=True, slots=True)
class Passed:
    """Branch names in the order passed, and the switched ones among them as (gate, unit, branch)."""

    names: tuple[str, ...]
    gates: tuple[tuple[int, int, str], ...]
    source: str | None  # the battery or alternator (or reference) it ends at; None: it ends in the ground


def follow(
    net: Network, lane: Lane, amps: Floats, start: int, up: bool, avoid: frozenset[int] = frozenset()
) -> Passed:
    """Follow the largest current against (`up`) or with its direction, from node `start`."""
    names: list[str] = []
    gates: list[tuple[int, int, str]] = []
    node, seen = start, {start}
    ground = net.static.ground
    for _ in range(HOPS):
        if not up and node == ground:
            return Passed(tuple(names), tuple(gates), None)
        best, other = _largest(lane, amps, node, up, seen, avoid)
        if best < 0:
            break
        name = net.branches[best] if best < len(net.branches) else "what bridges it"
        if up and int(lane.kind[best]) in SOURCES:
            if int(net.static.gate[best]) in (laws.CHARGE, laws.REF):
                gates.append((int(net.static.gate[best]), int(net.static.unit[best]), name))
            return Passed(tuple(names), tuple(gates), name)
        names.append(name)
        if int(net.static.gate[best]) != laws.ALWAYS:
            gates.append((int(net.static.gate[best]), int(net.static.unit[best]), name))
        node = other
        seen.add(node)
    return Passed(tuple(names), tuple(gates), None)


def _largest(
    lane: Lane, amps: Floats, node: int, up: bool, seen: set[int], avoid: frozenset[int]
) -> tuple[int, int]:
    best, other, most = -1, -1, LEAST_A
    for b in np.flatnonzero((lane.na == node) | (lane.nb == node)):
        if int(b) in avoid or b >= amps.size:
            continue
        here_a = int(lane.na[b]) == node
        into = -amps[b] if here_a else amps[b]  # current into the node
        carried = float(into if up else -into)
        far = int(lane.nb[b] if here_a else lane.na[b])
        source = int(lane.kind[b]) in SOURCES
        if carried > most and (far not in seen or (up and source)):
            best, other, most = int(b), far, carried
    return best, other


def bits_of(net: Network, bits: Bits, array: int, unit: int) -> bool:
    """State bit `unit` of the list that begins at static.at[array]."""
    return bool(bits[int(net.static.at[array]) + unit])
