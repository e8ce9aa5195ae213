"""The instruments: what each measures, draws, and how far it can be trusted."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import Literal, cast, get_args

from amptrail import units
from amptrail.errors import nearest, one

TapKind = Literal["meter", "lamp", "led", "loaded", "clamp", "ohmmeter", "fuse-drop"]
What = Literal["volts", "amps", "ohms", "looks", "feels"]


@dataclass(frozen=True, slots=True)
class Instrument:
    """One instrument. `tap_kind` and `tap_parameters` are what the solver connects: lamp (rated V, rated W),
    loaded and meter (ohm,), others ().

    `accuracy` (relative) and `floor` (in `unit`) bound the error as a data sheet does; `resolution` is the
    last digit. `feeds` is true when it draws or gives current that can move something.
    """

    name: str
    what: What
    unit: str
    tap_kind: TapKind
    tap_parameters: tuple[float, ...]
    accuracy: float
    floor: float
    resolution: float
    setup_minutes: float
    feeds: bool
    tells_nothing: str
    status: str
    source: str

    def sigma(self, value: float) -> float:
        """One sigma of a reading of `value` in `unit`: the bound taken as two sigma, and the last digit."""
        bound = self.accuracy * abs(value) + self.floor
        return max(math.hypot(bound / 2, self.resolution / math.sqrt(12)), 1e-9)

    def tells(self, values: Sequence[float]) -> bool:
        """Whether readings this far apart can be told apart at all (five sigma from lowest to highest)."""
        finite = [v for v in values if math.isfinite(v)]
        if len(finite) < 2:
            return False
        return max(finite) - min(finite) > 5 * self.sigma(max(finite, key=abs))


def _instrument(r: dict[str, str]) -> Instrument:
    if r["what"] not in get_args(What) or r["tap"] not in get_args(TapKind):
        raise ValueError(f"instruments.csv: {r['name']}")
    return Instrument(
        r["name"], cast(What, r["what"]), r["unit"], cast(TapKind, r["tap"]),
        tuple(float(x) for x in r["parameters"].split()), float(r["accuracy"]), float(r["floor"]),
        float(r["resolution"]), float(r["setup_min"]), r["may_energise"] == "yes", r["says_nothing"],
        r["status"], r["source"],
    )  # fmt: skip


@cache
def instruments() -> tuple[Instrument, ...]:
    """Every instrument, in the order of the table."""
    text = (files("amptrail.instruments") / "instruments.csv").read_text(encoding="utf-8")
    return tuple(_instrument(r) for r in csv.DictReader(text.splitlines()))


def _figures(words: str) -> dict[str, float]:
    """`12 V 21 W` as {V: 12, W: 21}."""
    bits = words.split()
    if len(bits) % 2:
        raise one("instrument", f"`{words}` is not a list of numbers with units")
    found: dict[str, float] = {}
    for number, unit in zip(bits[::2], bits[1::2], strict=True):
        value = units.parse(f"{number} {unit}")
        if not value > 0:
            raise one("instrument", f"{number} {unit} must be above zero")
        found[units.dimension(unit)] = value
    return found


def _with(base: Instrument, words: str) -> Instrument:
    """The instrument with its own figures: a lamp's volts and watts, a load's ohms, a meter's ohms."""
    order = {"lamp": ("V", "W"), "loaded": ("ohm",), "meter": ("ohm",), "fuse-drop": ("ohm",)}.get(base.name)
    got = _figures(words)
    if order is None or set(got) - set(order):
        raise one("instrument", f"{base.name} does not take `{words}`", expected=order or ())
    parameters = tuple(got.get(d, p) for d, p in zip(order, base.tap_parameters, strict=True))
    return replace(base, name=f"{base.name} {words}", tap_parameters=parameters)


@cache
def by_name(name: str) -> Instrument:
    """`meter`, `lamp`, `lamp 21 W`, `lamp 24 V 21 W`, `loaded 2.7 ohm` …; InputError for an unknown one."""
    head, _, tail = " ".join(name.split()).partition(" ")
    known = {i.name: i for i in instruments()}
    base = known.get(head.lower().replace("_", "-"))
    if base is None:
        raise one(
            "instrument",
            f"no instrument is called {head!r}",
            expected=tuple(known),
            nearest=nearest(head, list(known)),
        )
    return _with(base, tail) if tail else base
