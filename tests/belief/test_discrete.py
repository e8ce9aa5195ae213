"""Outside examples through belief's public interface; each names its source."""

from __future__ import annotations

import json
from collections.abc import Mapping
from itertools import combinations, product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from amptrail.belief import normalise
from amptrail.belief.discrete import Factor, Network, entropy_bits, explanations, smallest
from amptrail.errors import InputError

# --- Polybox: de Kleer & Williams, Artificial Intelligence 32 (1987), 97-130 (circuit from memory; figures
# recomputed by hand enumeration). A broken part may give any value.
PARTS = ("M1", "M2", "M3", "A1", "A2")


def _polybox_fits(f: int, g: int, x: int | None = None):  # type: ignore[no-untyped-def]
    """Can the outputs arise? A broken part gives any whole number; those tried are enough here."""

    def fits(broken: frozenset[str]) -> bool:
        free = range(-20, 31)
        for m1 in free if "M1" in broken else (6,):
            if x is not None and m1 != x:
                continue
            for m2 in free if "M2" in broken else (6,):
                if "A1" not in broken and m1 + m2 != f:
                    continue
                for m3 in free if "M3" in broken else (6,):
                    if "A2" in broken or m2 + m3 == g:
                        return True
        return False

    return fits


def _weights(sets: tuple[frozenset[str], ...]) -> tuple[list[float], np.ndarray]:
    prior = [0.01 ** len(s) * 0.99 ** (5 - len(s)) for s in sets]
    return prior, normalise(prior, np.zeros(len(sets)))[0]


def test_polybox_minimal_explanations() -> None:
    both = smallest(explanations(PARTS, _polybox_fits(10, 12)))
    assert set(both) == {frozenset(s) for s in (("A1",), ("M1",), ("A2", "M2"), ("M2", "M3"))}


def test_polybox_posterior_entropy_and_marginals() -> None:
    sets = explanations(PARTS, _polybox_fits(10, 12))
    _, p = _weights(sets)
    found = dict(zip(sets, p, strict=True))
    assert found[frozenset({"A1"})] == pytest.approx(0.47803, abs=5e-6)
    assert found[frozenset({"M1"})] == pytest.approx(0.47803, abs=5e-6)
    assert found[frozenset({"A2", "M2"})] == pytest.approx(0.00483, abs=5e-6)
    assert entropy_bits(p) == pytest.approx(1.35945, abs=5e-6)
    marginal = {n: sum(q for s, q in found.items() if n in s) for n in PARTS}
    assert marginal["A1"] == pytest.approx(0.4976, abs=5e-5)
    assert marginal["M2"] == pytest.approx(0.0196, abs=5e-5)
    assert marginal["A2"] == pytest.approx(0.0148, abs=5e-5)


# --- Inverter cascade: entropies recomputed; priors of the equal case from a student thesis, those of the
# unequal case from the public data file 4inverters (abfeldman/lydia, MIT).
def _cascade(priors: tuple[float, ...], evidence: Mapping[str, str]) -> tuple[list[float], np.ndarray]:
    """Every set of broken inverters, its probability given a=1 and e=0 (a broken output is a coin toss)."""
    net = _inverters(priors)
    n = len(priors)
    sets = [dict(zip((f"I{i}" for i in range(n)), v, strict=True)) for v in product(("ok", "bad"), repeat=n)]
    whole = net.probability(evidence)
    return [net.probability({**evidence, **s}) / whole for s in sets], np.asarray(
        [s["I0"] == "bad" for s in sets]
    )


def _inverters(priors: tuple[float, ...]) -> Network:
    n = len(priors)
    states: dict[str, tuple[str, ...]] = {f"I{i}": ("ok", "bad") for i in range(n)}
    states |= {f"p{i}": ("0", "1") for i in range(n + 1)}
    factors = [Factor(("p0",), np.array([0.0, 1.0]))]
    for i, f in enumerate(priors):
        factors.append(Factor((f"I{i}",), np.array([1 - f, f])))
        law = np.zeros((2, 2, 2))  # state, input, output
        law[0] = [[0, 1], [1, 0]]
        law[1] = 0.5
        factors.append(Factor((f"I{i}", f"p{i}", f"p{i + 1}"), law))
    return Network(states, tuple(factors))


def _expected_entropy(priors: tuple[float, ...], seen: Mapping[str, str], point: str) -> float:
    net = _inverters(priors)
    chance = net.marginal(point, seen)
    return sum(
        q * entropy_bits(np.asarray(_cascade(priors, {**seen, point: v})[0])) for v, q in chance.items() if q
    )


def test_four_inverters_equal_priors() -> None:
    priors, seen = (0.01,) * 4, {"p4": "0"}
    p, _ = _cascade(priors, seen)
    assert _inverters(priors).probability(seen) == pytest.approx(0.019702, abs=5e-7)
    assert entropy_bits(np.asarray(p)) == pytest.approx(2.12211, abs=5e-6)
    got = [_expected_entropy(priors, seen, b) for b in ("p1", "p2", "p3")]
    assert got == pytest.approx([1.31835, 1.13216, 1.31835], abs=5e-6)


def test_four_inverters_unequal_priors_move_the_probe() -> None:
    priors, seen = (0.025, 0.01, 0.01, 0.01), {"p4": "0"}
    p, _ = _cascade(priors, seen)
    assert entropy_bits(np.asarray(p)) == pytest.approx(2.00266, abs=5e-6)
    got = [_expected_entropy(priors, seen, b) for b in ("p1", "p2", "p3")]
    assert got == pytest.approx([1.02190, 1.07082, 1.32816], abs=5e-6)


# --- Car start, four variables: Jensen & Nielsen, Bayesian Networks and Decision Graphs (2007), p. 35
def _car4() -> Network:
    yes = ("yes", "no")
    states = {"fuel": yes, "clean": yes, "meter": ("full", "half", "empty"), "start": yes}
    start = np.zeros((2, 2, 2))
    start[0, 0] = [0.99, 0.01]
    start[0, 1] = [0.01, 0.99]
    start[1] = [0.0, 1.0]
    return Network(
        states,
        (
            Factor(("fuel",), np.array([0.98, 0.02])),
            Factor(("clean",), np.array([0.96, 0.04])),
            Factor(("fuel", "meter"), np.array([[0.39, 0.60, 0.01], [0.001, 0.001, 0.998]])),
            Factor(("fuel", "clean", "start"), start),
        ),
    )


@pytest.mark.parametrize(
    ("evidence", "fuel", "clean"),
    [
        ({"start": "no"}, 0.706814, 0.419374),
        ({"start": "no", "meter": "half"}, 0.999309, 0.195650),
        ({"start": "no", "meter": "empty"}, 0.023587, 0.941959),
    ],
)
def test_car_start_four_variables(evidence: dict[str, str], fuel: float, clean: float) -> None:
    net = _car4()
    assert net.marginal("fuel", evidence)["yes"] == pytest.approx(fuel, abs=5e-7)
    assert net.marginal("clean", evidence)["yes"] == pytest.approx(clean, abs=5e-7)


def test_car_start_chance_of_the_symptom() -> None:
    assert _car4().probability({"start": "no"}) == pytest.approx(0.068216, abs=5e-7)


# --- Car start, five variables: Barber, Bayesian Reasoning and Machine Learning, exercise 3.6 (from memory)
def _car5() -> Network:
    states = {"battery": ("good", "bad"), "tank": ("full", "empty"), "gauge": ("empty", "not")}
    states |= {"turns": ("yes", "no"), "starts": ("yes", "no")}
    gauge = np.array([[[0.04, 0.96], [0.97, 0.03]], [[0.10, 0.90], [0.99, 0.01]]])
    start = np.array([[[0.99, 0.01], [0.08, 0.92]], [[0.0, 1.0], [0.01, 0.99]]])
    return Network(
        states,
        (
            Factor(("battery",), np.array([0.98, 0.02])),
            Factor(("tank",), np.array([0.95, 0.05])),
            Factor(("battery", "tank", "gauge"), gauge),
            Factor(("battery", "turns"), np.array([[0.97, 0.03], [0.02, 0.98]])),
            Factor(("turns", "tank", "starts"), start),
        ),
    )


def test_car_start_five_variables() -> None:
    net = _car5()
    no = {"starts": "no"}
    assert net.probability(no) == pytest.approx(0.101756, abs=5e-7)
    assert net.marginal("tank", no)["empty"] == pytest.approx(0.453747, abs=5e-7)
    assert net.marginal("battery", no)["bad"] == pytest.approx(0.192739, abs=5e-7)
    assert net.marginal("tank", {**no, "turns": "yes"})["empty"] == pytest.approx(0.828829, abs=5e-7)
    assert net.marginal("battery", {**no, "turns": "no"})["bad"] == pytest.approx(0.4, abs=5e-7)
    assert net.marginal("tank", {**no, "gauge": "empty"})["empty"] == pytest.approx(0.930612, abs=5e-7)


def test_impossible_evidence_is_said() -> None:
    net = _car4()
    with pytest.raises(InputError, match="cannot all be true"):
        net.marginal("clean", {"fuel": "no", "start": "yes"})


# --- Car no-start, 18 variables: public coursework repository mnicolae/bnet (tables and marginals seen).
# Its numbers carry no licence, so they are read from a folder beside the checkout and not copied; without
# that folder these two tests do not exist.
CHECKS = Path(__file__).parents[3] / "shared" / "checks"


def _car18() -> Network:
    data = json.loads((CHECKS / "car18.json").read_text(encoding="utf-8"))
    states = {n: tuple(v["states"]) for n, v in data["variables"].items()}
    factors = [Factor(tuple(f["vars"]), np.reshape(f["values"], f["shape"])) for f in data["factors"]]
    return Network(states, tuple(factors))


# --- 74182 carry look-ahead: observations with published least number of faults (abfeldman/lydia, MIT)
def _gate(kind: str, inputs: list[bool]) -> bool:
    if kind == "inverter":
        return not inputs[0]
    value = all(inputs) if kind.startswith("and") else any(inputs)
    return not value if kind.startswith("nor") else value


def _least_faults(gates: list[list[Any]], seen: dict[str, bool]) -> int:
    """Least number of broken gates that makes the observation possible; sets are tried by size."""
    for size in range(6):
        for broken in combinations(range(len(gates)), size):
            if _possible(gates, set(broken), seen):
                return size
    return 6


def _possible(gates: list[list[Any]], broken: set[int], seen: dict[str, bool]) -> bool:
    """Can free outputs of the broken gates give what was seen?"""
    free = [i for i in broken if gates[i][1] not in seen]
    for values in product((False, True), repeat=len(free)):
        wire = dict(seen)
        given = dict(zip(free, values, strict=True))
        for i, (kind, out, inputs) in enumerate(gates):
            if i in given:
                wire[out] = given[i]
            elif i not in broken:
                value = _gate(kind, [wire[n] for n in inputs])
                if wire.setdefault(out, value) != value:
                    break
        else:
            return True
    return False


if CHECKS.exists():

    def test_car_start_eighteen_variables() -> None:
        net = _car18()
        assert net.marginal("Car starts")["true"] == pytest.approx(0.280384, abs=5e-7)
        assert net.marginal("Car cranks")["true"] == pytest.approx(0.496652, abs=5e-7)
        dead = {"Car starts": "false", "Car cranks": "false", "Headlights": "bright"}
        assert net.marginal("Main fuse", dead)["blown"] == pytest.approx(0.042051, abs=5e-7)
        assert net.marginal("Starter Motor", dead)["faulty"] == pytest.approx(0.020697, abs=5e-7)
        dark = {**dead, "Headlights": "off"}
        assert net.marginal("Battery voltage", dark)["dead"] == pytest.approx(0.980411, abs=5e-7)
        assert net.marginal("Charging system", dark)["faulty"] == pytest.approx(0.932392, abs=5e-7)
        with pytest.raises(InputError, match="cannot all be true"):
            net.marginal("Car starts", {"Charging system": "okay", "Alternator": "faulty"})

    def test_carry_look_ahead_least_faults() -> None:
        """The observations of up to two faults (more would take the brute force too long here)."""
        data = json.loads((CHECKS / "m74182.json").read_text(encoding="utf-8"))
        pins = data["observables"]
        some = [(bits, n) for bits, n in data["obs"] if n <= 2]
        assert len(some) == 100
        for bits, least in some:
            seen = {pin: bit == "1" for pin, bit in zip(pins, bits, strict=True)}
            assert _least_faults(data["gates"], seen) == least
