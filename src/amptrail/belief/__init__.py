"""Belief: which explanation holds, how severe it is, and which reading to doubt. Takes tables only."""

from amptrail.belief.groups import active_pairs, equivalent
from amptrail.belief.infer import (
    Contribution,
    Doubt,
    Posterior,
    Severity,
    Unexplained,
    contributions,
    log_evidence,
    normalise,
    posterior,
)
from amptrail.belief.likelihood import MISPROBE, MISPROBE_DARK, MISPROBE_UNSURE, other_weights
from amptrail.belief.refine import where_to_refine
from amptrail.belief.tables import (
    Grid,
    Hypothesis,
    Prediction,
    Reading,
    Spoiler,
    Table,
    Word,
    double_grid,
    single_grid,
)

__all__ = [
    "MISPROBE",
    "MISPROBE_DARK",
    "MISPROBE_UNSURE",
    "Contribution",
    "Doubt",
    "Grid",
    "Hypothesis",
    "Posterior",
    "Prediction",
    "Reading",
    "Severity",
    "Spoiler",
    "Table",
    "Unexplained",
    "Word",
    "active_pairs",
    "contributions",
    "double_grid",
    "equivalent",
    "log_evidence",
    "normalise",
    "other_weights",
    "posterior",
    "single_grid",
    "where_to_refine",
]
