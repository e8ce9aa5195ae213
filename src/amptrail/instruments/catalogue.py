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
    status: str
    source: str
    offset: float = 0.0  # what it shows when there is nothing, in `unit`; taken off every reading

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
        float(r["resolution"]), float(r["setup_min"]), r["may_energise"] == "yes",
        r["status"], r["source"],
    )  # fmt: skip


@cache
def instruments() -> tuple[Instrument, ...]:
    """Every instrument, in the order of the table."""
    text = (files("amptrail.instruments") / "instruments.csv").read_text(encoding="utf-8")
    return tuple(_instrument(r) for r in csv.DictReader(text.splitlines()))


OWN = ("offset", "accuracy", "floor", "draws")  # words of an instrument somebody measured


def _figures(words: str) -> dict[str, float]:
    """`12 V 21 W` as {V: 12, W: 21}."""
    bits = words.split()
    if len(bits) % 2:
        raise one("instrument", f"`{words}` is not a list of numbers with units", expected=OWN,
                  nearest=nearest(bits[0], OWN),
                  remedy="write it as accuracy 1 % offset 30 mA, or 12 V 21 W")  # fmt: skip
    found: dict[str, float] = {}
    for number, unit in zip(bits[::2], bits[1::2], strict=True):
        value = units.parse(f"{number} {unit}")
        if not value > 0:
            raise one("instrument", f"{number} {unit} must be above zero")
        found[units.dimension(unit)] = value
    return found


def _split(base: Instrument, words: str) -> tuple[str, list[tuple[str, str, str]]]:
    """Plain figures, and what its owner measured: `12 V draws 0.36 A` is `12 V` and (draws, 0.36, A)."""
    bits = [w.rstrip(",") for w in words.split() if w.lower() != "and"]
    plain, own = list[str](), list[tuple[str, str, str]]()
    while bits:
        word = bits.pop(0)
        if word.lower() not in OWN:
            plain.append(word)
        elif len(bits) < 2:
            raise one("instrument", f"`{word}` of {base.name} has no figure", expected=OWN,
                      remedy=f"write it as {word} 0.03 {base.unit}")  # fmt: skip
        else:
            own.append((word.lower(), bits.pop(0), bits.pop(0)))
    return " ".join(plain), own


def _measured(base: Instrument, word: str, number: str, unit: str) -> Instrument:
    """The instrument with one thing its owner measured of it."""
    value = _figure(base, word, number, unit)
    if word == "offset":
        return replace(base, offset=value)
    if word == "accuracy":
        return replace(base, accuracy=value)
    if word == "floor":
        return replace(base, floor=value)
    if base.tap_kind != "lamp" or not value > 0:
        raise one("instrument", f"{base.name} does not draw {number} {unit}", remedy="only of a lamp")
    volts = base.tap_parameters[0]
    return replace(base, tap_parameters=(volts, volts * value))


def _figure(base: Instrument, word: str, number: str, unit: str) -> float:
    """A figure in the unit its word asks for; the accuracy as a share of one."""
    wanted = "%" if word == "accuracy" else "A" if word == "draws" else base.unit
    try:
        value = float(number.replace(",", ".")) / 100.0 if unit == "%" else units.parse(f"{number} {unit}")
        same = unit == "%" if wanted == "%" else units.dimension(unit) == units.dimension(wanted)
    except ValueError:
        same, value = False, 0.0
    if not same or not math.isfinite(value) or (word != "offset" and value < 0):
        raise one("instrument", f"`{word} {number} {unit}` is no {word} of {base.name}", expected=(wanted,),
                  remedy=f"write it as {word} 0.03 {wanted}")  # fmt: skip
    return value


def _with(base: Instrument, words: str) -> Instrument:
    """The instrument with its own figures (a lamp's volts and watts, a load's ohms, a meter's ohms), and with
    what its owner measured of it."""
    plain, own = _split(base, words)
    made = _rated(base, plain) if plain else base
    for word, number, unit in own:
        made = _measured(made, word, number, unit)
    return replace(made, name=f"{base.name} {words}")


def _rated(base: Instrument, words: str) -> Instrument:
    order = {"lamp": ("V", "W"), "loaded": ("ohm",), "meter": ("ohm",), "fuse-drop": ("ohm",)}.get(base.name)
    got = _figures(words)
    if order is None or set(got) - set(order):
        raise one("instrument", f"{base.name} does not take `{words}`", expected=order or (),
                  remedy="write what was measured of it, such as offset 30 mA, accuracy 2 %")  # fmt: skip
    parameters = tuple(got.get(d, p) for d, p in zip(order, base.tap_parameters, strict=True))
    return replace(base, tap_parameters=parameters)


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
