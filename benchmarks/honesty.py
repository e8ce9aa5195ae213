"""How honest stated probabilities were, over many jobs whose truth is known: figures and one line of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

from amptrail.belief import Posterior
from benchmarks.whole_jobs import circuits

Array = NDArray[np.float64]
SURE = 0.95
UPPER = 0.95
FEW = 2000  # below so many jobs ECE says little (CHECKS A17: 0.13 on 50 perfectly calibrated ones)


@dataclass(frozen=True)
class Judged:
    """One job: log score minus entropy, the entropy, what was said of the likeliest repair and whether it was
    right, whether it was said that nothing fits, or to look at the drawing first."""

    excess: float
    entropy: float
    said: float
    right: bool
    nothing_fits: bool
    doubts_drawing: bool = False


def judged(
    post: Posterior,
    true: Sequence[int],
    groups: Sequence[str],
    parts: Mapping[int, Sequence[int]] | None = None,
) -> Judged:
    """The figures of one posterior. `true`: hypotheses that are part of the truth (a single cause of two is:
    the other may have shown nothing); none: the truth is not on the list, so what is scored is the chance
    given to that. `groups`: repair groups that would be right. `parts`: for a pair, the hypotheses that are
    part of it. Log score and entropy are of the same question, so their difference is 0 on average."""
    p = np.asarray([*post.probability, *post.spoiled, post.undrawn])
    given = p.copy()
    for h, mine in (parts or {}).items():
        given[h] = p[list(mine)].sum()
    entropy = -float((p * np.log(np.maximum(given, 1e-300))).sum())
    score = float(p[list(true)].sum()) if len(true) else post.undrawn
    mass = post.groups()
    first = max(mass, key=lambda g: mass[g])
    excess = -float(np.log(max(score, 1e-300))) - entropy
    return Judged(excess, entropy, mass[first], first in groups, post.unexplained.is_so)


def ece(said: Array, right: Array, bins: int = 10) -> float:
    """Expected calibration error of the likeliest repair."""
    which = np.minimum((said * bins).astype(int), bins - 1)
    return float(sum(abs(said[which == b].mean() - right[which == b].mean()) * (which == b).mean()
                     for b in np.unique(which)))  # fmt: skip


def upper(wrong: int, of: int) -> float:
    """Upper end of the one-sided 95 % interval of a share (Clopper & Pearson 1934, through scipy)."""
    return 1.0 if wrong >= of else float(beta.ppf(UPPER, wrong + 1, of - wrong))


def line(name: str, rows: Sequence[Judged]) -> str:
    """One row of the table."""
    excess = np.asarray([r.excess for r in rows])
    said, right = np.asarray([r.said for r in rows]), np.asarray([float(r.right) for r in rows])
    sure = said >= SURE
    wrong, of = int((1 - right[sure]).sum()), int(sure.sum())
    sure_words = f"{wrong / of:.1%} of {of} (upper {upper(wrong, of):.1%})" if of else "none"
    worth = f"{excess.mean():+.3f} +- {2 * float(excess.std()) / len(rows) ** 0.5:.3f}"
    warning = "" if len(rows) >= FEW else " (few jobs: biased upwards)"
    fits = np.mean([r.nothing_fits for r in rows])
    drawing = np.mean([r.doubts_drawing for r in rows])
    return (
        f"{name:12} {len(rows):6} jobs: log score - entropy {worth} nat (entropy "
        f"{np.mean([r.entropy for r in rows]):.2f}); said {SURE:.0%} and wrong {sure_words}; "
        f"nothing fits {fits:.1%}, the drawing first {drawing:.1%}; ECE {ece(said, right):.3f}{warning}"
    )


DEMOS = ("blower", "camper", "sensors", "sprayer", "starter", "trailer", "c02", "c05", "c07")


def fleet(made: int) -> dict[str, str]:
    """The demos, the given circuits of the neutral format, and `made` generated vehicles of 30 to 60."""
    from benchmarks.generator import sheet_text

    found = circuits(DEMOS)
    for k in range(made):
        size = (30, 40, 50, 60)[k % 4]
        found[f"made{size}-{100 + k}"] = sheet_text(size, 100 + k)
    return found
