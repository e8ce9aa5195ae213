"""What a channel watches, from the names of its clips, its unit and what it looks like.

Names are read as the sheet and DIN 72552 write them: 30 and B+ a supply, 15 the key, 50 the starter
control, 85/86 a
winding, 87 a contact. Whoever sets up the recording can say it instead.
"""

from __future__ import annotations

import re
from enum import StrEnum

import numpy as np

from amptrail.recording.channel import Channel
from amptrail.recording.levels import Levels

DEAD_V = 1.0  # a supply that stays below this is switched, or has lost its wire
REST_V = ((9.0, 16.5), (19.0, 33.0))  # what batteries of 12 V and 24 V vehicles read at rest and charged


class Role(StrEnum):
    """What a channel watches."""

    SUPPLY = "supply"
    KEY = "key"
    CRANK = "crank"
    COIL = "coil"
    COIL_LOW = "coil, low side"
    CONTACT = "contact"
    BREAK = "break contact"
    MODULE = "module"
    CURRENT = "current"
    OTHER = "other"


WORDS: tuple[tuple[Role, frozenset[str]], ...] = (
    (Role.BREAK, frozenset({"87a"})),
    (Role.COIL_LOW, frozenset({"85"})),
    (Role.COIL, frozenset({"86", "coil", "winding"})),
    (Role.CONTACT, frozenset({"87", "87b", "contact", "relay"})),
    (Role.CRANK, frozenset({"50", "50a", "50b", "45", "crank", "cranking", "starter", "start", "s50"})),
    (Role.KEY, frozenset({"15", "15a", "key", "ign", "ignition", "kl15", "t15", "acc"})),
    (Role.MODULE, frozenset({"awake", "wake", "wakeup"})),
    (
        Role.SUPPLY,
        frozenset(
            {
                "30",
                "30a",
                "30b",
                "b+",
                "bat+",
                "bat",
                "batt",
                "battery",
                "kl30",
                "t30",
                "supply",
                "ub",
                "ubat",
                "vbat",
            }
        ),
    ),
)


def words(name: str) -> list[str]:
    """The words of a channel's name, in lower case: `K4.87 to BAT.+` gives k4, 87, to, bat, +."""
    bare = name.casefold().replace("bat.+", "bat+").replace("b.+", "b+")
    return [w for w in re.split(r"[\s._\-:/()\[\]]+", bare) if w]


def _said(name: str) -> Role | None:
    mine = set(words(name))
    return next((found for found, known in WORDS if known & mine), None)


def role(channel: Channel, at: Levels) -> tuple[Role, bool]:
    """(what a channel watches, whether its clips are the wrong way round for it).

    With one clip on a supply and the other elsewhere, the other is what is watched: "both clips on battery
    plus" is usual.
    """
    if channel.unit == "A":
        return Role.CURRENT, False
    name = channel.point or channel.name
    first, _, second = name.partition(" to ")
    other = channel.to or second or None
    found, beside = _said(first), _said(other) if other else None
    if found is Role.SUPPLY and beside not in (None, Role.SUPPLY):
        return beside, True
    if found is not None and found is not Role.SUPPLY:
        return found, False
    if _steady(channel, at) or (found is Role.SUPPLY and not (at.two and at.low < DEAD_V)):
        return Role.SUPPLY, False
    return Role.OTHER, False


def _steady(channel: Channel, at: Levels) -> bool:
    """Whether it reads what a battery reads most of the time and never goes dead for long."""
    usual = float(np.median(channel.overview.mean))
    alive = not at.two or at.low > 0.25 * at.high
    return channel.unit in ("V", "") and alive and any(low <= usual <= high for low, high in REST_V)
