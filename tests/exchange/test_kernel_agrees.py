"""The kernel beside the twin, which shares no numeric code with it: every node, every state, every phase."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from random_oracle import circuit as invented
from random_oracle import odd

from amptrail import solve
from amptrail.exchange.oracle import to_circuit
from amptrail.faults import changes
from amptrail.twin import run, state_words


@pytest.mark.parametrize("made", [invented, odd])
@pytest.mark.parametrize("seed", range(3))
def test_kernel_and_twin_agree(seed: int, made: Callable[[int], dict[str, Any]]) -> None:
    circuit = to_circuit(made(seed))
    network = solve.assemble(circuit)
    cases = [("healthy", ()), *((f.name, f.faults) for f in circuit.faults)]
    runs = solve.run(
        network, [tuple(x for f in several for x in changes(network, f)) for _, several in cases]
    )
    for lane, (name, several) in enumerate(cases):
        for p, moment in enumerate(run(circuit, several)):
            if moment.status == "chatter":
                assert runs.status[lane, p] == solve.CHATTER, (name, moment.phase.name)
                continue
            terms = moment.machine.f.bench.wiring.names
            far = max(abs(runs.volts[lane, p, network.node(t)] - moment.volts(t)) for t in terms)
            assert far <= 1e-6, (name, moment.phase.name)
            ours, theirs = state_words(moment.state), runs.state(lane, p)
            assert ours["relays_energised"] == sorted(theirs.relays_energised), (name, moment.phase.name)
            assert ours["modules_awake"] == sorted(theirs.modules_awake), (name, moment.phase.name)
            assert ours["fuses_blown"] == sorted(theirs.fuses_open), (name, moment.phase.name)
