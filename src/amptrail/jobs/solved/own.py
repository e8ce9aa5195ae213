"""A technician's own instruments: what each draws, shows at nothing, and how far it can be trusted.

They were measured once and told in the readings (`my lamp "draws 0.36 A"`); wherever a reading is predicted
or judged, the instrument in hand is that one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from amptrail.errors import InputError
from amptrail.instruments import Instrument, by_name
from amptrail.sheet.readers import OWN_LINE, named, reader_of

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Own:
    """Own instruments as (kind, what it is): `("lamp", "draws 0.36 A")`; `by`: whose, when that is known."""

    told: tuple[tuple[str, str], ...] = ()
    by: str = ""

    def words(self, kind: str) -> str | None:
        """What is special about the own one of this kind; None when the usual one is in hand."""
        return next((words for k, words in self.told if k == kind), None)

    def name(self, kind: str) -> str:
        """The instrument of this kind by the name the solver knows it by."""
        words = self.words(kind)
        return kind if words is None else f"{kind} {words}"

    def over(self, less: Own) -> Own:
        """These, and of the others what these do not name."""
        mine = {k for k, _ in self.told}
        return Own((*self.told, *((k, w) for k, w in less.told if k not in mine)), self.by or less.by)

    def as_data(self) -> dict[str, str]:
        """What is special, by kind, for an answer."""
        return dict(self.told)


STANDARD = Own()


def said(readings_text: str, by: str = "") -> Own:
    """The instruments told in the readings, of each kind the last. `by`: only those of this person, where the
    lines say whose they are. What is no instrument is left out: whoever reads the lines says so."""
    found: dict[str, str] = {}
    for raw in readings_text.splitlines():
        line, reader = reader_of(raw)
        m = OWN_LINE.match(line)
        if m is None or (by and reader and reader != named(by)):
            continue
        kind, words = m[1].lower().replace("_", "-"), m[2].strip()
        try:
            by_name(f"{kind} {words}")
        except InputError:
            continue
        found[kind] = words
    return Own(tuple(found.items()), by)


def in_hand(readings_text: str, brought: Own = STANDARD) -> Own:
    """What the readings say of the instruments of who asks, before what was brought along."""
    return said(readings_text, brought.by).over(brought)


def shown(values: Array, tool: Instrument) -> Array:
    """What the instrument shows where these values are: its offset on top."""
    return values + tool.offset if tool.offset else values


def errs_otherwise(tool: Instrument) -> bool:
    """Whether its owner told how far it may be off."""
    usual = by_name(tool.name.split()[0])
    return (tool.accuracy, tool.floor) != (usual.accuracy, usual.floor)


def loads_more(tool: Instrument) -> bool:
    """Whether it is a meter that draws another current than the usual one."""
    return tool.tap_parameters != by_name(tool.name.split()[0]).tap_parameters
