"""docs/reference.md from the tables: `python -m amptrail.reference.page docs/reference.md`."""

from __future__ import annotations

import sys
from pathlib import Path

from amptrail.reference.rows import TABLES, rows

TITLES = {
    "wire_metric": "Metric vehicle wire", "wire_awg": "AWG wire", "fuse": "Fuses", "fuse_gates": "Fuse gates",
    "ampacity": "Ampacity, A", "wire_fuse": "Largest fuse of a wire", "drop_limits": "Voltage drop limits",
    "sleep": "Sleep", "relay": "Relays", "cranking": "Starting the engine, V",
    "lamp": "Filament lamps at 13.5 V", "terminals": "Terminals (DIN 72552)",
    "rest_volts": "Charge of a lead battery by its volts at rest",
    "cold_charge": "Charge of a lead battery in the cold",
    "colours": "Colours (IEC 60757)", "can": "CAN", "dtc": "Trouble codes", "shares": "Shares of causes",
    "priors": "Faults: weights, looks, repairs", "traits": "Traits of places", "cautions": "Cautions",
}  # fmt: skip
HEAD = """# Reference values

Made from the tables in `src/amptrail/reference` by `python -m amptrail.reference.page docs/reference.md`;
do not edit by hand. `seen`: read in a public source; `memory`: recalled, no source opened; `computed`:
worked out here. Units stand in the column names.
"""


def _cell(text: str) -> str:
    return text.replace("|", "; ")


def section(table: str) -> str:
    """One table as Markdown."""
    found = rows(table)
    names = list(found[0])
    lines = [f"## {TITLES[table]}", "", f"| {' | '.join(names)} |", "|" + "---|" * len(names)]
    lines += [f"| {' | '.join(_cell(r[n]) for n in names)} |" for r in found]
    return "\n".join(lines) + "\n"


def page() -> str:
    """The whole page."""
    return "\n".join([HEAD, *(section(t) for t in TABLES)])


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(page(), encoding="utf-8")
