"""A reading taken only in its own phase is the one taken in all phases."""

from __future__ import annotations

import numpy as np
from benchmarks.generator import generate, points

from amptrail.jobs.solved.pick import read_at
from amptrail.solve import Change, Kind, Tap, assemble, read, run


def test_same_readings_as_everywhere_and_nothing_elsewhere() -> None:
    net = assemble(generate(30, 0))
    wire = next(p.name for p in net.circuit.parts if p.kind == "wire")
    runs = run(net, [(), (Change(Kind.SERIES, wire, value=2.0),)])
    where = points(net.circuit)[3:6]
    taps = [
        Tap(where[0]),
        Tap(where[1], None, "lamp"),
        Tap(wire, None, "clamp"),
        Tap(where[2], None, "ohmmeter"),
    ]
    asked = [(0, 0), (2, 0), (1, 1), (2, 2), (4, 3)]
    got, whole = read_at(net, runs, taps, asked), read(net, runs, taps)
    for slot, tap in asked:
        for name in ("value", "low", "high", "status", "over", "changed"):
            mine, full = getattr(got, name)[:, slot, tap], getattr(whole, name)[:, slot, tap]
            assert np.array_equal(mine, full), (name, slot, tap)
    assert np.abs(whole.value[:, 2, :2]).max() > 1
    assert not got.value[:, 3, :3].any()
