"""The same question has the same answer to the last bit, whatever lay in memory before."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from amptrail.exchange.oracle import to_circuit
from amptrail.faults import changes
from amptrail.solve import Tap, assemble, read, run

ROOT = Path(__file__).parents[2] / "authorities" / "oracle"


def littered() -> None:
    """Leave nonsense where the next arrays will be made."""
    for n in (7, 40, 100, 400, 2000, 9000):
        np.full(n, float("nan"))
        np.full(n, -3, np.int32)


@pytest.mark.parametrize("path", sorted(ROOT.glob("c*/circuit.json")), ids=lambda p: p.parent.name)
def test_runs_and_readings_repeat_to_the_bit(path: Path) -> None:
    circuit = to_circuit(json.loads(path.read_text(encoding="utf-8")))
    net = assemble(circuit)
    lanes = [(), *(tuple(x for f in n.faults for x in changes(net, f)) for n in circuit.faults)]
    spots = [(p.a, p.b) for p in circuit.points if p.what != "amps"]
    taps = [Tap(a, b, i) for a, b in spots for i in ("meter", "lamp", "ohmmeter")]  # type: ignore[arg-type]
    seen = set()
    for _ in range(6):
        littered()
        runs = run(net, lanes)
        got = read(net, runs, taps)
        seen.add(
            (runs.volts.tobytes(), runs.snapshot.state.tobytes(), got.value.tobytes(), got.over.tobytes())
        )
    assert len(seen) == 1
