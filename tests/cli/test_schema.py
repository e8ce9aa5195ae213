"""Every command on every demo is as its schema says."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from jsonschema import Draft202012Validator, ValidationError
from schemas import FILES, ROOT, validate

from amptrail.cli.app import group
from amptrail.cli.dispatch import ALONE, answer
from amptrail.cli.files import Files

DEMOS = sorted(p.stem for p in (ROOT / "demos").glob("*.sheet"))


def ask(demo: str, command: str, *more: str) -> dict[str, Any]:
    names = (f"{demo}.sheet", f"{demo}.readings")
    files = Files({n: (ROOT / "demos" / n).read_text(encoding="utf-8") for n in names})
    given = names if command in ("suspects", "next", "findings", "condemn") else names[:1]
    return answer([command, *given, *more], files)


def test_every_command_has_a_schema_that_is_one() -> None:
    assert set(group().commands) - set(ALONE) | {"common"} == set(FILES)
    for schema in FILES.values():
        Draft202012Validator.check_schema(schema)


# pairs of faults change numbers, not keys: they are left out here to keep the run short
@pytest.mark.parametrize(
    ("command", "more"),
    [
        ("check", ()),
        ("expect", ("--nominal",)),
        ("cycle", ("--order", "settle")),
        ("cycle", ("--order", "time", "--cycles", "2", "--svg", "-")),
        ("suspects", ("--doubles", "off")),
        ("next", ("--doubles", "off")),
    ],
)
@pytest.mark.parametrize("demo", DEMOS)
def test_every_command_on_every_demo(demo: str, command: str, more: tuple[str, ...]) -> None:
    got = ask(demo, command, *more)
    assert (got["exit"], got["command"]) == (0, command), got["problems"]
    validate(got)


@pytest.mark.parametrize("demo", DEMOS[:1])
def test_findings_and_bands(demo: str) -> None:
    for got in (
        ask(demo, "findings"),
        ask(demo, "expect", "--phase", ask(demo, "check")["phases"][0]["name"]),
    ):
        assert got["exit"] == 0, got["problems"]
        validate(got)


@pytest.mark.parametrize("demo", DEMOS[:2])
def test_a_sheet_of_what_leads(demo: str) -> None:
    got = ask(demo, "condemn")
    assert got["exit"] in (0, 1), got["problems"]
    assert got["proven"] == (got["exit"] == 0)
    validate(got)


@pytest.mark.parametrize("demo", DEMOS)
def test_a_trail_at_the_battery(demo: str) -> None:
    phases = ask(demo, "check")["phases"]
    got = ask(demo, "trail", "--at", "BAT.+", "--phase", phases[0]["name"])
    assert got["exit"] == 0, got["problems"]
    validate(got)


@pytest.mark.parametrize("to", ["oracle", "sheet", "netlist", "transient", "json"])
def test_every_target_of_convert(to: str) -> None:
    got = answer(["convert", str(ROOT / "demos" / "first" / "lamp.sheet"), "--to", to], Files())
    assert got["exit"] == 0, got["problems"]
    validate(got)


def test_size_and_probabilities() -> None:
    validate(answer(["size", "--amps", "12", "--length", "4"], Files()))
    got = ask("blower", "suspects", "--top", "3")
    total = sum(s["probability"] for s in got["suspects"]) + got["rest"]
    assert total == pytest.approx(1, abs=1e-9)
    assert len(got["suspects"]) == 3


def test_a_failure_needs_the_envelope_only() -> None:
    got = answer(["suspects", "nowhere.sheet", "nowhere.readings"], Files({}))
    assert got["exit"] == 2
    validate(got)


@pytest.mark.parametrize("key", ["parts", "points", "counts", "problems", "exit"])
def test_a_missing_key_is_noticed(key: str) -> None:
    got = copy.deepcopy(ask("blower", "check"))
    del got[key]
    with pytest.raises(ValidationError):
        validate(got, "check")
