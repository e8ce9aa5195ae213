"""docs/laws.md says the numbers that both solvers use."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import get_args

from amptrail.circuit.model import PartKind
from amptrail.faults import overlay as kernel_faults
from amptrail.solve import laws
from amptrail.solve import modules as kernel_modules
from amptrail.solve.assemble import SUPPRESSOR_OHM
from amptrail.solve.settle import BLOWS_AT
from amptrail.solve.stamping import LEAK_S
from amptrail.twin import bench, logic, modules, nodal, overlay, settle

elements = sys.modules["amptrail.twin.elements"]  # the package has a function of that name
PAGE = (Path(__file__).parents[2] / "docs" / "laws.md").read_text(encoding="utf-8")

TWIN = {
    "fuse times": settle.FUSE_TIMES, "D+ resistance": elements.EXCITED_OHM,
    "suppression resistor": elements.QUENCH_OHM, "least track": elements.POT_LEAST_OHM,
    "light motor's share": elements.UNLOADED, "LED current": elements.LED_A, "LED n": elements.LED_N,
    "body diode saturation": bench.DIODE_IS, "body diode n": bench.DIODE_N,
    "clamp resistance": bench.DIODE_RS, "input pull": modules.PULL_OHM, "output on": modules.ON_OHM,
    "output leak": modules.LEAK_OHM, "CAN pin": modules.BUS_OHM, "CAN volts": modules.BUS_V,
    "between ground pins": modules.GROUNDS_OHM, "module lives above": logic.ALIVE_V,
    "leak of a metal": nodal.LEAK_S, "least resistance of anything": bench.MIN_OHM,
    "bad joint without ohms": overlay.UNSAID_OHM["resistance"],
    "short without ohms": overlay.UNSAID_OHM["to_ground"],
    "leak between points without ohms": overlay.UNSAID_OHM["to_point"],
    "swapped cavity": overlay.CAVITY_OHM,
}  # fmt: skip
KERNEL = {
    "fuse times": BLOWS_AT, "suppression resistor": SUPPRESSOR_OHM,
    "input pull": kernel_modules.PULL_OHM, "output on": kernel_modules.ON_OHM,
    "output leak": kernel_modules.LEAK_OHM, "CAN pin": kernel_modules.BUS_OHM,
    "CAN volts": kernel_modules.BUS_V, "module lives above": kernel_modules.ALIVE_V,
    "leak of a metal": LEAK_S, "least resistance of anything": laws.MIN_OHM,
    "bad joint without ohms": kernel_faults.UNSAID_OHM["resistance"],
    "short without ohms": kernel_faults.UNSAID_OHM["to_supply"],
    "leak between points without ohms": kernel_faults.UNSAID_OHM["to_point"],
    "swapped cavity": kernel_faults.CAVITY_OHM,
}  # fmt: skip


def rows(width: int) -> list[list[str]]:
    """The cells of every table row of that many columns whose second cell is no heading."""
    lines = [[c.strip() for c in x.strip("|").split(" | ")] for x in PAGE.splitlines() if x.startswith("| ")]
    return [x for x in lines if len(x) == width and x[0] not in ("part", "number")]


def test_every_number_is_the_solvers_own() -> None:
    page = {name: float(value) for name, value, unit in rows(3) if unit in ("V", "A", "ohm", "x", "S")}
    assert page == TWIN
    assert {name: page[name] for name in KERNEL} == KERNEL


def test_every_kind_of_part_has_its_law() -> None:
    words = {w for name, _, _ in rows(3) for w in name.replace(",", "").split()}
    other = {
        "connector": "cavity", "box": "cavity", "led": "LED", "ptc": "PTC", "pot": "potentiometer",
        "polyfuse": "polymer",
    }  # fmt: skip
    missing = [k for k in get_args(PartKind) if other.get(k, k) not in words]
    assert missing == []
