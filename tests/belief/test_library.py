"""The same posteriors from a general Bayesian library: pyAgrum (aGrUM), exact on the same discrete net.

Each random circuit is a ladder of resistances; a fault is one more resistance in one place at one of four
severities. Half of the six readings are numbers, half are only known to lie in a bin; every one may
be of the wrong place.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from amptrail.belief import Hypothesis, Prediction, Reading, Table, Word, posterior
from amptrail.belief.discrete import Factor, Network
from amptrail.belief.tables import Array

SEVERITIES, NUMBERS, BINNED = 4, 3, 3
MISPROBE, SPAN, SIGMA = 0.03, 15.0, 0.3
LOW, WIDTH = -5.0, 25.0  # a number of the wrong place is anything in here
EDGES = np.array([-np.inf, 1.0, 3.0, 6.0, 9.0, 11.5, np.inf])


class Circuit:
    """A random ladder: faults, what each severity reads at six taps, priors, and what was read."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.faults = int(rng.integers(3, 13))
        series = rng.uniform(0.02, 0.5, self.faults)
        load = rng.uniform(1, 30)
        extra = 10.0 ** rng.uniform(-1, 2.5, (self.faults, SEVERITIES))
        taps = rng.integers(1, self.faults + 1, NUMBERS + BINNED)
        share = rng.uniform(0.3, 1.0, NUMBERS + BINNED)
        self.volts = np.zeros((self.faults, SEVERITIES, NUMBERS + BINNED))
        for f in range(self.faults):
            for s in range(SEVERITIES):
                ohm = series.copy()
                ohm[f] += extra[f, s]
                drop = 12.6 * np.cumsum(ohm) / (ohm.sum() + load)
                self.volts[f, s] = (12.6 - drop[taps - 1]) * share
        self.prior = rng.dirichlet(np.ones(self.faults))
        self.within = rng.dirichlet(np.ones(SEVERITIES), self.faults)
        true = self.volts[rng.integers(self.faults), rng.integers(SEVERITIES)] + SIGMA * rng.normal(size=6)
        wrong = rng.random(6) < 0.2
        self.read = np.where(wrong, rng.uniform(0, SPAN, 6), true)
        self.bins = np.digitize(self.read[NUMBERS:], EDGES[1:-1])

    def chance_of_bins(self) -> Array:
        """P(bin | fault, severity) of the binned readings [f, s, reading, bin]."""
        at = self.volts[:, :, NUMBERS:, None]
        return np.asarray(np.diff(norm.cdf((EDGES - at) / SIGMA), axis=3), np.float64)

    def density(self) -> Array:
        """Density of each number read when it is what its line says [f, s, reading]."""
        return np.asarray(norm.pdf(self.read[:NUMBERS], self.volts[:, :, :NUMBERS], SIGMA), np.float64)


def ours(c: Circuit) -> Array:
    """P(fault, severity) by the belief of the product."""
    seen = np.take_along_axis(c.chance_of_bins(), c.bins[None, None, :, None], axis=3)[..., 0]
    hypotheses = tuple(
        Hypothesis(
            f"{f}/{s}", float(c.prior[f] * c.within[f, s]),
            Prediction(c.volts[f, s, :NUMBERS][None], words=np.log(np.maximum(seen[f, s], 1e-300))[None]),
        )
        for f in range(c.faults) for s in range(SEVERITIES)
    )  # fmt: skip
    readings = tuple(Reading(float(v), SIGMA, MISPROBE, (LOW, LOW + WIDTH)) for v in c.read[:NUMBERS])
    words = (Word(MISPROBE, 1 / (len(EDGES) - 1)),) * BINNED
    return posterior(Table(hypotheses, readings, words)).probability.reshape(c.faults, SEVERITIES)


def theirs(circuits: list[Circuit]) -> list[Array]:
    """P(fault, severity) of each by pyAgrum."""
    asked = [
        {
            "prior": c.prior.tolist(), "within": c.within.tolist(), "misprobe": MISPROBE,
            "density": c.density().tolist(), "wrong_density": 1 / WIDTH,
            "bins": c.chance_of_bins().tolist(), "read": c.bins.tolist(),
        }
        for c in circuits
    ]  # fmt: skip
    done = subprocess.run(
        [sys.executable, str(Path(__file__).with_name("library_net.py"))],
        input=json.dumps(asked), capture_output=True, text=True, check=True, timeout=300,
    )  # fmt: skip
    return [np.asarray(x, np.float64) for x in json.loads(done.stdout)]


def test_belief_agrees_with_a_general_library_on_a_hundred_circuits() -> None:
    circuits = [Circuit(seed) for seed in range(100)]
    pairs = zip(circuits, theirs(circuits), strict=True)
    worst = max(float(np.abs(ours(c) - found).max()) for c, found in pairs)
    print(f"against pyAgrum: worst difference {worst:.1e} (100 circuits)")
    assert worst < 1e-6


def test_the_discrete_layer_agrees_with_a_general_library() -> None:
    """Variable elimination of our own on the same nets, numbers read left out."""
    circuits = [Circuit(1000 + seed) for seed in range(20)]
    for c in circuits:
        c.read[:NUMBERS] = 0.0
        c.volts[:, :, :NUMBERS] = 0.0  # every fault alike
    for c, found in zip(circuits, theirs(circuits), strict=True):
        states = {"fault": tuple(map(str, range(c.faults))), "severity": tuple("0123")}
        factors = [Factor(("fault",), c.prior), Factor(("fault", "severity"), c.within)]
        bins, size = c.chance_of_bins(), len(EDGES) - 1
        for k in range(BINNED):
            states[f"read{k}"] = tuple(map(str, range(size)))
            mixed = (1 - MISPROBE) * bins[:, :, k] + MISPROBE / size
            factors.append(Factor(("fault", "severity", f"read{k}"), mixed))
        seen = {f"read{k}": str(int(c.bins[k])) for k in range(BINNED)}
        mine = Network(states, tuple(factors)).marginal("fault", seen)
        assert list(mine.values()) == pytest.approx(found.sum(axis=1).tolist(), abs=1e-9)
