"""Columns and pairs kept from reading to reading are those worked out anew."""

from __future__ import annotations

import numpy as np
import pytest
from benchmarks.generator import generate, points
from benchmarks.pairs import job

from amptrail.belief import posterior
from amptrail.circuit.model import Term
from amptrail.jobs.evidence import doubles
from amptrail.jobs.evidence.beforehand import singles
from amptrail.jobs.evidence.doubles import POOL, explained, predicted
from amptrail.jobs.evidence.hopes import active, hopes
from amptrail.jobs.evidence.predict import evidence, solve_all, table
from amptrail.jobs.solved.columns import Columns
from amptrail.jobs.solved.observe import observations
from amptrail.jobs.solved.pick import read_at
from amptrail.jobs.solved.session import session
from amptrail.sheet import parse, print_sheet
from amptrail.solve import Tap
from amptrail.solve.tolerance import covariance

CIRCUIT = parse(print_sheet(generate(30, 3)))
WHERE = [t for t in points(CIRCUIT) if isinstance(t, Term)]
LINES = (
    f"{WHERE[3]} in running meter 0.40",
    f"{WHERE[40]} in running meter 3.10",
    f"{WHERE[20]} in ignition-on meter 0.00",
)


def test_kept_columns_are_those_read_anew() -> None:
    s = session(CIRCUIT)
    lanes = [s.lane(x.rows[0]) for x in singles(CIRCUIT)[:40]]
    runs = s.run(lanes, "asleep", 2)
    asked = [(Tap(t, None, kind), 1 + n % 3) for n, t in enumerate(WHERE[:6]) for kind in ("meter", "lamp")]
    asked.append((Tap(WHERE[2], None, "ohmmeter"), 0))
    kept = Columns(s.network, runs)
    for n in range(1, len(asked) + 1):  # one reading after another, as they are entered
        kept.covariance(asked[:n], [False] * n)
    again = [c.value for c in kept.read(asked)]
    cov = kept.covariance(asked, [n % 2 == 0 for n in range(len(asked))])
    got = read_at(s.network, runs, [t for t, _ in asked], [(k, n) for n, (_, k) in enumerate(asked)])
    slots = [k for _, k in asked]
    fresh = covariance(s.network, runs, got, slots, [n % 2 == 0 for n in range(len(asked))])
    for n, k in enumerate(slots):
        value = np.where(got.over[:, k, n], 20e6, got.value[:, k, n])
        steady = got.status[:, k, n] < 2
        assert np.allclose(again[n][steady], value[steady], rtol=1e-12, atol=1e-12)
    ohms = len(asked) - 1
    assert np.allclose(cov[:, :ohms, :ohms], fresh[:, :ohms, :ohms], rtol=1e-9, atol=1e-15)
    assert (cov[:, ohms, :ohms] == 0).all()
    assert np.abs(cov[:, :ohms, :ohms]).max() > 0


@pytest.fixture
def empty_pool() -> None:
    POOL.clear()


def test_pairs_of_earlier_readings_serve_again(empty_pool: None) -> None:
    base = singles(CIRCUIT)
    shown = None
    for n in range(1, len(LINES) + 1):
        seen = evidence(observations(CIRCUIT, "\n".join(LINES[:n])).used)
        only = table(CIRCUIT, base, seen, solve_all(CIRCUIT, base, seen), 0)
        got = explained(CIRCUIT, base, only, posterior(only), False, seen, only)
        shown, pairs = got.table, got.pairs
        assert got.weighed >= len(pairs)
        assert len(pairs) > 10
        assert len({p.key for p in pairs}) == len(pairs)
    batches = POOL.get(CIRCUIT)
    assert batches is not None
    assert sum(b.lanes for b in batches) <= doubles.POOL_LANES
    POOL.clear()
    anew = {h.key: h for h in predicted(CIRCUIT, pairs, seen)}
    assert shown is not None
    kept = shown.hypotheses[len(base) :]
    assert [h.key for h in kept] == [p.key for p in pairs]
    for h in kept:
        other = anew[h.key].prediction
        assert np.allclose(h.prediction.mean, other.mean, rtol=1e-9, atol=1e-9)
        assert h.prediction.cov is not None
        assert other.cov is not None
        assert np.allclose(h.prediction.cov, other.cov, rtol=1e-6, atol=1e-12)
        assert np.array_equal(h.grid.segments(), anew[h.key].grid.segments())


def test_the_most_hopeful_pairs_a_lane_come_first_and_all_means_all(empty_pool: None) -> None:
    base = singles(CIRCUIT)
    seen = evidence(observations(CIRCUIT, "\n".join(LINES)).used)
    only = table(CIRCUIT, base, seen, solve_all(CIRCUIT, base, seen), 0)
    hope = hopes(CIRCUIT, base, only, posterior(only), seen)
    assert np.array_equal(hope, hope.T)
    index = {s.key: i for i, s in enumerate(base)}
    hoped = list(doubles._hoped(base, hope))
    worth = []
    for p in hoped:
        a, b = (index[c.id] for c in p.causes)
        worth.append(hope[a, b] + np.log(p.prior) - np.log(len(p.rows)))
    assert np.all(np.diff(worth) < 1e-9)
    live = np.flatnonzero(active(only))
    there = {frozenset(c.id for c in p.causes) for p in hoped}
    for a in live[live > 0]:
        for b in live[live > a]:
            one, two = base[a], base[b]
            if not {f.at for c in one.causes for f in c.faults} & {
                f.at for c in two.causes for f in c.faults
            }:
                assert frozenset((one.key, two.key)) in there or hope[a, b] > -np.inf
    some = doubles._some(iter(hoped), 500)
    assert 500 <= sum(len(p.rows) for p in some) < 500 + 25
    assert [p.key for p in some] == [p.key for p in hoped[: len(some)]]
    assert all(len(p.causes) == 2 for p in hoped)


@pytest.mark.parametrize(
    ("seed", "best"),
    [(3026, "CLAMPN:open and Y1:open"), (3070, "CLAMPN:resistance and K1:stuck_off")],
)
def test_what_two_faults_do_to_one_another_is_hoped_for(seed: int, best: str, empty_pool: None) -> None:
    """The pair that leads when every one is weighed (`benchmarks.pairs`). Each reading by whichever of the
    two explains it better ranked them 832nd and beyond the lanes there are."""
    circuit, text = job(30, seed)
    base = singles(circuit)
    seen = evidence(observations(circuit, text).used)
    only = table(circuit, base, seen, solve_all(circuit, base, seen), 0)
    order = doubles._hoped(base, hopes(circuit, base, only, posterior(only), seen))
    assert best in {p.key for p in doubles._some(order, 300)}
