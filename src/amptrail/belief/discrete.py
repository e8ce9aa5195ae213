"""The discrete layer: tables of chances, exact answers; and explanations as sets of broken parts."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from amptrail.belief.tables import Array
from amptrail.errors import one


@dataclass(frozen=True, eq=False)
class Factor:
    """A table over named variables, one array axis each."""

    names: tuple[str, ...]
    values: Array


@dataclass(frozen=True, eq=False)
class Network:
    """Discrete variables with their states, and factors whose product is the joint distribution."""

    states: Mapping[str, tuple[str, ...]]
    factors: tuple[Factor, ...]

    def marginal(self, name: str, evidence: Mapping[str, str] | None = None) -> dict[str, float]:
        """P(name | evidence), exactly. Impossible evidence is an InputError."""
        table = self._eliminate((name,), evidence or {})
        total = float(table.sum())
        if not total > 0:
            raise one("impossible-evidence", "these readings cannot all be true")
        return dict(zip(self.states[name], (table / total).tolist(), strict=True))

    def probability(self, evidence: Mapping[str, str]) -> float:
        """P(evidence)."""
        return float(self._eliminate((), evidence).sum())

    def _cut(self, evidence: Mapping[str, str]) -> list[Factor]:
        out = []
        for f in self.factors:
            values = f.values
            for axis, n in enumerate(f.names):
                if n in evidence:
                    mask = np.zeros(values.shape[axis])
                    mask[self.states[n].index(evidence[n])] = 1.0
                    shape = [1] * values.ndim
                    shape[axis] = -1
                    values = values * mask.reshape(shape)
            out.append(Factor(f.names, values))
        return out

    def _eliminate(self, keep: tuple[str, ...], evidence: Mapping[str, str]) -> Array:
        factors = self._cut(evidence)
        left = [n for n in self.states if n not in keep]
        while left:
            name = min(left, key=lambda n: (len({m for f in factors if n in f.names for m in f.names}), n))
            left.remove(name)
            touching = [f for f in factors if name in f.names]
            names = tuple(sorted({m for f in touching for m in f.names} - {name}))
            factors = [f for f in factors if name not in f.names]
            if touching:
                factors.append(Factor(names, _product(touching, names)))
        return _product(factors, keep)


def _product(factors: Sequence[Factor], out: tuple[str, ...]) -> Array:
    index = {n: i for i, n in enumerate(sorted({m for f in factors for m in f.names} | set(out)))}
    args: list[object] = []
    for f in factors:
        args += [f.values, [index[n] for n in f.names]]
    return np.asarray(np.einsum(*args, [index[n] for n in out]), np.float64)  # type: ignore[call-overload]


def explanations(parts: Sequence[str], fits: Callable[[frozenset[str]], bool]) -> tuple[frozenset[str], ...]:
    """Every set of broken parts (the empty one too) under which the observations are possible."""
    sets = [frozenset(c) for k in range(len(parts) + 1) for c in combinations(parts, k)]
    return tuple(s for s in sets if fits(s))


def smallest(sets: Sequence[frozenset[str]]) -> tuple[frozenset[str], ...]:
    """Those of which no other listed set is a part."""
    return tuple(s for s in sets if not any(o < s for o in sets))


def entropy_bits(probability: Array) -> float:
    """Shannon entropy in bits."""
    p = probability[probability > 0]
    return float(-(p * np.log2(p)).sum())
