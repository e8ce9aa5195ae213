"""The hand-written table of feeds (feeds/expected.toml), read once."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path
from typing import Any

from amptrail.circuit.model import Circuit
from amptrail.sheet import parse

FOLDER = Path(__file__).parents[2] / "feeds"

NAMED = (
    "refuse_list", "no_fuse_at_source", "dead_short_not_cleared", "wire_rating", "restores_from_asleep",
    "dead_lock", "off_when_required", "after_run", "sleeps", "sleep_current", "self_holding",
    "permanently_on", "restarts", "back_feed", "driver_overcurrent", "chatter", "fuse_opens",
    "fuse_80_percent", "relay_make", "relay_carry", "voltage_drop", "interlock", "stop_function",
)  # fmt: skip
UNNAMED = ("on_time", "old_path", "joint_heat", "suppression", "adiabatic_ground", "source_load")
# names no row may demand: neither the JSON contract nor DESIGN section 9 lists them as rules of their own
ALSO = ("relay_break", "race", "works_fitted_awake")
FLAGS = (
    "restores_from_asleep", "works_when_fitted_awake", "restarts_after_shutdown", "loads_off_when_required",
    "after_run_kept", "sleeps_from_asleep", "sleeps_after_awake_fit", "permanently_on", "self_hold",
    "dead_lock", "back_feed", "drivers_tripped", "chatter", "fuse_over_80_percent", "fuses_blown",
    "interlock_bypassed",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One feed and what it must be answered with. `margin` is (rule, figure, limit, unit) in SI or None."""

    id: str
    sheet: str
    feed: str
    against: str
    verdict: str
    why: str
    purpose: str = "leave"
    rules: tuple[str, ...] = ()
    open: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    maybe_flags: tuple[str, ...] = ()
    at: tuple[str, ...] = ()
    margin: tuple[str, float, float, str] | None = None
    note: str | None = None


def _row(given: dict[str, Any]) -> Row:
    known = {f.name for f in fields(Row)}
    odd = set(given) - known
    if odd:
        raise ValueError(f"{given.get('id')}: unknown keys {sorted(odd)}")
    got: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in given.items()}
    m = got.get("margin")
    if m is not None:
        got["margin"] = (m["rule"], float(m["figure"]), float(m["limit"]), m["unit"])
    return Row(**got)


@cache
def rows() -> tuple[Row, ...]:
    """Every row of the table, in its order."""
    with (FOLDER / "expected.toml").open("rb") as f:
        return tuple(_row(r) for r in tomllib.load(f)["feed"])


def sheet_text(name: str) -> str:
    return (FOLDER / f"{name}.sheet").read_text(encoding="utf-8")


@cache
def circuit(name: str) -> Circuit:
    return parse(sheet_text(name))
