"""Feeds that make no sense: a clear error with the nearest name, or a refusal; no traceback, no hold."""

from __future__ import annotations

from typing import Any

import pytest
from feed_table import rows, sheet_text

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files


def _asked(feed: str, against: str | None, purpose: str = "leave", sheet: str = "pump") -> dict[str, Any]:
    argv = ["feed", "s", "--feed", feed, "--for", purpose]
    argv += ["--against", against] if against else []
    return answer(argv, Files({"s": sheet_text(sheet)}))


@pytest.mark.parametrize(
    ("feed", "against", "nearest"),
    [
        ("from F99.out to K4.86 fuse 5 A wire 1 mm2 1 m", None, "F9"),
        ("from F4.uot to K4.86 fuse 5 A wire 1 mm2 1 m", None, "out"),
        ("from F4.out to K4.96 fuse 5 A wire 1 mm2 1 m", None, None),
        ("from F4.out to K4.86 fuse 5 A wire 0.75 mm2 1 m cut W99", "W13 open", "W9"),
        ("from F4.out to K4.86 fuse 5 A wire 0.75 mm2 1 m", "W99 open", "W9"),
        ("from F4.out to K4.86 fuse -5 A wire 0.75 mm2 1 m", "W13 open", None),
        ("from F4.out to K4.86 fuse 5 A wire 0.75 mm2 -1 m", "W13 open", None),
        ("", "W13 open", None),
    ],
)
def test_what_cannot_be_read_is_an_error_with_a_remedy(
    feed: str, against: str | None, nearest: str | None
) -> None:
    got = _asked(feed, against)
    assert got["exit"] == 2
    problem = got["problems"][0]
    assert problem["message"] and problem["remedy"]
    assert problem["nearest"] == nearest


def test_a_purpose_that_is_none_is_an_error() -> None:
    got = _asked("from F4.out to K4.86 fuse 5 A wire 0.75 mm2 1 m cut W13", "W13 open", "forever")
    assert got["exit"] == 2
    assert "home" in got["problems"][0]["message"] + str(got["problems"][0]["expected"])


@pytest.mark.parametrize(("feed", "nearest"), [("PJ99", "PJ9")])
def test_a_feed_nobody_declared_is_told_as_such(feed: str, nearest: str) -> None:
    got = _asked(feed, "W8 open")
    assert got["exit"] == 2
    assert got["problems"][0]["nearest"] == nearest


@pytest.mark.parametrize(
    ("feed", "against"),
    [
        pytest.param("from BAT.+ to BAT.- fuse 10 A wire 1 mm2 1 m", None, id="across-battery"),
        pytest.param("from BAT.+ to body fuse 10 A wire 1 mm2 1 m", None, id="battery-to-body"),
        pytest.param("from F4.out to K4.86 fuse 5 A wire 0.01 mm2 1 m cut W13", "W13 open", id="too-thin"),
        pytest.param("from F4.out to F4.out wire 1 mm2 1 m", None, id="to-itself"),
        pytest.param("from K4.coil to PUMP.in fuse 5 A wire 1 mm2 1 m", "W13 open", id="inside-a-part"),
    ],
)
def test_what_can_never_be_right_does_not_hold(feed: str, against: str | None) -> None:
    got = _asked(feed, against)
    assert got["exit"] in (1, 2)
    if got["exit"] == 2:
        assert got["problems"][0]["message"] and got["problems"][0]["remedy"]
    else:
        assert got["feeds"][0]["verdict"] == "refused"
        assert got["feeds"][0]["why"]


@pytest.mark.parametrize("purpose", ["try", "home", "leave"])
def test_ground_to_ground_is_normal_work(purpose: str) -> None:
    got = _asked("from PUMP.out to body wire 1.5 mm2 1.5 m cut W11", "W11 open", purpose)
    assert got["exit"] in (0, 1)
    assert [p for p in got["problems"] if p["severity"] == "error"] == []
    assert got["feeds"][0]["verdict"] == "holds", got["feeds"][0]["refusals"]


@pytest.mark.parametrize("purpose", ["try", "home", "leave"])
@pytest.mark.parametrize("name", ["V1", "V2", "V4"])
def test_the_never_list_knows_no_purpose(name: str, purpose: str) -> None:
    row = next(r for r in rows() if r.id == name)
    got = _asked(row.feed, row.against, purpose, row.sheet)
    assert got["exit"] == 1
    assert got["feeds"][0]["rule"] == "refuse_list"
