"""The rules of a feed, in the order of the JSON contract, point 11; those without a name there at the end.

Each file has NAME, SEVERITY (per purpose) and `marks(case)`: every figure of the rule beside its limit,
broken or kept. A rule never solves: it looks at the evidence of a case.
"""

from __future__ import annotations

from types import ModuleType

from amptrail.feed.rules import (
    after_run,
    back_feed,
    chatter,
    dead_lock,
    driver_overcurrent,
    fuse_80_percent,
    fuse_opens,
    interlock,
    off_when_required,
    permanently_on,
    restarts,
    restores_from_asleep,
    self_holding,
    sleep_current,
    sleeps,
    works_fitted_awake,
)

RULES: tuple[ModuleType, ...] = (
    restores_from_asleep, dead_lock, off_when_required, after_run, sleeps, sleep_current, self_holding,
    permanently_on, restarts, back_feed, driver_overcurrent, chatter, fuse_opens, fuse_80_percent, interlock,
    works_fitted_awake,
)  # fmt: skip
ORACLE: tuple[ModuleType, ...] = RULES
"""Rules whose definitions are those of oracle SCHEMA, "Jumper files"."""
