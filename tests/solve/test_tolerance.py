"""The adjoint tolerances against moving each parameter and solving again (two independent ways)."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from amptrail.circuit.model import Term
from amptrail.sheet import parse
from amptrail.solve.assemble import assemble
from amptrail.solve.changes import Change, Kind
from amptrail.solve.readings import Tap, read
from amptrail.solve.runs import run
from amptrail.solve.slopes import sensitivities
from amptrail.solve.tolerance import covariance, effects, spread

SHEET = Path(__file__).parents[2] / "demos" / "sprayer.sheet"


def test_adjoint_equals_moving_every_parameter() -> None:
    network = assemble(parse(SHEET.read_text(encoding="utf-8")))
    taps = [
        Tap(Term("K4", "87")),
        Tap(Term("PUMP", "in"), Term("PUMP", "out")),
        Tap("PUMP", None, "clamp"),
        Tap(Term("G2", "1")),
    ]
    runs = run(network, [(), (Change(Kind.SERIES, "X7.4", value=0.5),)])
    got = read(network, runs, taps)
    sigma = np.array([p.sigma for p in network.parameters])
    wide = spread(network, runs, got)
    for lane in (0, 1):
        for slot in (0, 2):
            moved = sensitivities(network, runs, lane, slot, taps) * sigma
            reference = np.sqrt((moved**2).sum(axis=1))
            assert np.allclose(wide[lane, slot], reference, rtol=0.06, atol=1e-5)
            adjoint = effects(network, runs, got, slot, range(len(taps)), False)[lane]
            big = np.abs(moved) > 0.2 * reference[:, None]
            assert np.allclose(adjoint[big], moved[big], rtol=0.08)


def test_shared_tolerances_stay_shared_and_a_known_supply_leaves_its_own_out() -> None:
    network = assemble(parse(SHEET.read_text(encoding="utf-8")))
    taps = [Tap(Term("K4", "30")), Tap(Term("K4", "87"))]
    runs = run(network, [()])
    got = read(network, runs, taps)
    free = covariance(network, runs, got, [0, 0], [False, False])[0]
    known = covariance(network, runs, got, [0, 0], [True, True])[0]
    assert free[0, 1] / np.sqrt(free[0, 0] * free[1, 1]) > 0.95
    assert known[0, 0] < 0.2 * free[0, 0]
    assert np.linalg.eigvalsh(free).min() > -1e-12
