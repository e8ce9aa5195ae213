"""Plan: the next test worth its minutes. Takes tables only."""

from amptrail.plan.decide import Advice, Outcome, Plan, Stop, Visit, make_plan
from amptrail.plan.exact import EndGame, clear_cut, proof_bound
from amptrail.plan.rollout import rollout
from amptrail.plan.score import bits, group_bits, rates, update
from amptrail.plan.tables import (
    SLEEP_WAIT_MIN,
    Minutes,
    Problem,
    Tests,
    Where,
    World,
    flat_world,
    problem,
    simple_tests,
)

__all__ = [
    "SLEEP_WAIT_MIN",
    "Advice",
    "EndGame",
    "Minutes",
    "Outcome",
    "Plan",
    "Problem",
    "Stop",
    "Tests",
    "Visit",
    "Where",
    "World",
    "bits",
    "clear_cut",
    "flat_world",
    "group_bits",
    "make_plan",
    "problem",
    "proof_bound",
    "rates",
    "rollout",
    "simple_tests",
    "update",
]
