"""Where the clips were: a channel by name or number, what is wrong with such a line, and full scale."""

from __future__ import annotations

import numpy as np
import pytest

from amptrail.errors import InputError
from amptrail.recording.channel import Channel, Recording
from amptrail.recording.clips import clipped, unscaled

SOUND = Recording(
    "drive.wav",
    "wav",
    tuple(Channel(f"channel {k}", "FS", 1e-3, 0.0, np.zeros(8, np.float32)) for k in (1, 2)),
    (),
)


@pytest.mark.parametrize("name", ["channel 2", "2", "Channel 2"])
def test_a_channel_by_name_or_number(name: str) -> None:
    got = clipped(SOUND, [f"{name}=BAT unit A x 20"])
    assert [(c.point, c.unit) for c in got.channels] == [(None, "FS"), ("BAT", "A")]


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ("3=BAT.+", "bad-channel"),
        ("BAT.+", "bad-channel"),
        ("2=clamp BAT x 20", "bad-clip"),
        ("2=BAT x 20 A", "bad-clip"),
        ("2=BAT x 2.0.0", "bad-number"),
    ],
)
def test_what_is_wrong_with_the_line_is_what_is_told(said: str, code: str) -> None:
    with pytest.raises(InputError) as told:
        clipped(SOUND, [said])
    assert [p.code for p in told.value.problems] == [code]


def test_full_scale_is_told_until_every_channel_has_its_factor() -> None:
    one = clipped(SOUND, ["1=BAT.+ x 20"])
    assert "channel 1, channel 2" in unscaled(SOUND.channels)[0]
    assert unscaled(one.channels)[0].startswith("channel 2 ")
    assert unscaled(clipped(one, ["2=KEY.15 x 20"]).channels) == ()
