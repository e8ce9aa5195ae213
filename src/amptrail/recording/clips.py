"""What the person says about a channel: which two points its clips are on, its factor and offset.

CH1=K4.87 to BAT.+ x 10
channel 2=W1 unit A x 100 offset -0.2
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from amptrail.errors import nearest, one
from amptrail.recording.channel import Channel, Recording

FORM = re.compile(
    r"^(?P<point>[^=\s]*)(?:\s+to\s+(?P<to>\S+))?(?:\s+unit\s+(?P<unit>V|A))?(?:\s+x\s*(?P<factor>[+-]?[\d.,eE+-]+))?"
    r"(?:\s+offset\s+(?P<offset>[+-]?[\d.,eE+-]+))?$"
)
FORM_SAID = 'write it as "CHANNEL=POINT to POINT unit A x FACTOR offset NUMBER", what is not needed left out'
CAUTION = (
    "Scope grounds, a laptop's charger and a bus adapter may all be one ground: a ground clip on battery "
    "plus can then be a dead short of the battery. "
    "Run the laptop on its battery, or use a differential probe."
)


def _number(text: str | None, usual: float, said: str) -> float:
    if text is None:
        return usual
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise one(
            "bad-number", f"{text!r} is no number in {said!r}", expected=("x 10", "offset -0.2")
        ) from None


def clipped(recording: Recording, said: Sequence[str]) -> Recording:
    """The recording with its channels named and scaled as said. InputError for a channel that is not
    there."""
    channels = list(recording.channels)
    for text in said:
        name, sign, rest = text.partition("=")
        hit = FORM.match(rest.strip())
        found = recording.channel(name.strip())
        known = tuple(c.name for c in recording.channels)
        if not sign or found is None:
            raise one(
                "bad-channel", f"{text!r} names no channel of this recording", expected=known,
                nearest=nearest(name.strip(), known), remedy=FORM_SAID,
            )  # fmt: skip
        if hit is None:
            raise one(
                "bad-clip", f"{rest.strip()!r} does not say where the clips of {found.name} were",
                expected=("POINT to POINT", "unit A", "x FACTOR", "offset NUMBER"), remedy=FORM_SAID,
            )  # fmt: skip
        at = next(k for k, c in enumerate(recording.channels) if c is found)
        factor, offset = _number(hit["factor"], 1.0, text), _number(hit["offset"], 0.0, text)
        point = hit["point"].strip() or None
        unit = hit["unit"] or (
            "V" if channels[at].unit in ("FS", "") and hit["factor"] else channels[at].unit
        )
        channels[at] = channels[at].told(point=point, to=hit["to"], factor=factor, offset=offset, unit=unit)
    return replace(recording, channels=tuple(channels))


def cautions(channels: Sequence[Channel]) -> tuple[str, ...]:
    """What can hurt or burn at this set-up, shown when the clips are named."""
    refs = {c.to.casefold() for c in channels if c.to}
    return (CAUTION,) if refs or any(c.point for c in channels) else ()


def unscaled(channels: Sequence[Channel]) -> tuple[str, ...]:
    """A note on channels that are still in parts of full scale, as a sound file has them."""
    names = ", ".join(c.name for c in channels if c.unit == "FS")
    return (f"{names} in parts of full scale: give the factor to volts with --channel",) if names else ()
