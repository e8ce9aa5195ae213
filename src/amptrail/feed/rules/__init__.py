"""The rules of a feed, in the order of the JSON contract, point 11; those without a name there at the end.

Each file has NAME, SEVERITY (per purpose), BAD and GOOD (feeds of the folder feeds that break it and that
keep it) and `marks(case)`: every figure of the rule beside its limit, broken or kept. A rule never solves:
it looks at the evidence of a case.
"""

from __future__ import annotations

from types import ModuleType

from amptrail.feed.rules import (
    adiabatic_ground,
    after_run,
    back_feed,
    chatter,
    dead_lock,
    dead_short_not_cleared,
    driver_overcurrent,
    fuse_80_percent,
    fuse_opens,
    interlock,
    joint_heat,
    no_fuse_at_source,
    off_when_required,
    old_path,
    on_time,
    permanently_on,
    refuse_list,
    relay_carry,
    relay_make,
    restarts,
    restores_from_asleep,
    self_holding,
    sleep_current,
    sleeps,
    source_load,
    stop_function,
    suppression,
    voltage_drop,
    wire_rating,
    works_fitted_awake,
)

RULES: tuple[ModuleType, ...] = (
    refuse_list,
    no_fuse_at_source,
    dead_short_not_cleared,
    wire_rating,
    restores_from_asleep,
    dead_lock,
    off_when_required,
    after_run,
    sleeps,
    sleep_current,
    self_holding,
    permanently_on,
    restarts,
    back_feed,
    driver_overcurrent,
    chatter,
    fuse_opens,
    fuse_80_percent,
    relay_make,
    relay_carry,
    voltage_drop,
    interlock,
    stop_function,
    works_fitted_awake,
    on_time,
    old_path,
    source_load,
    adiabatic_ground,
    joint_heat,
    suppression,
)
ORACLE: tuple[ModuleType, ...] = (
    restores_from_asleep,
    dead_lock,
    off_when_required,
    after_run,
    sleeps,
    sleep_current,
    self_holding,
    permanently_on,
    restarts,
    back_feed,
    driver_overcurrent,
    chatter,
    fuse_opens,
    fuse_80_percent,
    interlock,
    works_fitted_awake,
)
"""Rules whose definitions are those of oracle SCHEMA, "Jumper files"."""
