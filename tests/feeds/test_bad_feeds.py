"""Feeds that make no sense: a clear error with the nearest name, or a refusal; no traceback, no hold."""

from __future__ import annotations

from typing import Any

import pytest
from feed_table import case, judge_is_complete, rows, sheet_text

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

with_rules = pytest.mark.skipif(not judge_is_complete(), reason="the judge lacks rules of the contract")


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


@with_rules
@pytest.mark.parametrize(("feed", "nearest"), [case("undeclared", "PJ99", "PJ9")])
def test_a_feed_nobody_declared_is_told_as_such(feed: str, nearest: str) -> None:
    got = _asked(feed, "W8 open")
    assert got["exit"] == 2
    assert got["problems"][0]["nearest"] == nearest


@with_rules
@pytest.mark.parametrize(
    ("feed", "against"),
    [
        case("across-battery", "from BAT.+ to BAT.- fuse 10 A wire 1 mm2 1 m", None),
        case("battery-to-body", "from BAT.+ to body fuse 10 A wire 1 mm2 1 m", None),
        case("too-thin", "from F4.out to K4.86 fuse 5 A wire 0.01 mm2 1 m cut W13", "W13 open"),
        case("to-itself", "from F4.out to F4.out wire 1 mm2 1 m", None),
        case("inside-a-part", "from K4.coil to PUMP.in fuse 5 A wire 1 mm2 1 m", "W13 open"),
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
    assert got["problems"] == [] or all(p["severity"] != "error" for p in got["problems"])


@with_rules
@pytest.mark.parametrize("purpose", ["try", "home", "leave"])
@pytest.mark.parametrize("name", [case(n, n) for n in ("V1", "V2", "V4")])
def test_the_never_list_knows_no_purpose(name: str, purpose: str) -> None:
    row = next(r for r in rows() if r.id == name)
    got = _asked(row.feed, row.against, purpose, row.sheet)
    assert got["exit"] == 1
    assert got["feeds"][0]["rule"] == "refuse_list"
