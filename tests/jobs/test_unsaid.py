"""What the sheet leaves unsaid is told on screen: the few values that decide something, or all of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.circuit.tables import table
from amptrail.cli.main import main
from amptrail.jobs.check import check
from amptrail.jobs.unsaid import MATTERS, groups
from amptrail.sheet import parse

GLOW = Path(__file__).parents[2] / "src" / "amptrail" / "jobs" / "templates" / "glow.sheet"


def test_every_unstated_value_of_every_part_is_in_one_group() -> None:
    got = check(GLOW.read_text())
    single = {(p["name"], u.rpartition(" ")[2]) for p in got["parts"] for u in p["unconfirmed"]}
    grouped = {(n, r["attribute"]) for r in got["assumed"] for n in r["parts"]}
    assert single == grouped and single
    matters = [r["matters"] for r in got["assumed"]]
    assert matters == sorted(matters, reverse=True)


def test_three_plugs_alike_are_one_line() -> None:
    rows = groups(parse(GLOW.read_text()))
    watts = next(r for r in rows if (r["kind"], r["attribute"]) == ("heater", "rated_w"))
    assert (watts["parts"], watts["assumed"], watts["matters"]) == (["PLUG1", "PLUG2", "PLUG3"], 120.0, True)


def test_a_stated_value_is_not_asked_for() -> None:
    text = GLOW.read_text()
    stated = text.replace("relay K_GLOW ", "relay K_GLOW pulls 7.5 V ", 1)
    assert stated != text
    names = {r["attribute"] for r in groups(parse(stated)) if r["kind"] == "relay"}
    assert "pull_v" not in names and "drop_v" in names


def test_on_screen(capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", str(GLOW)])
    few = capsys.readouterr().out
    assert "Nobody stated" in few and "PLUG1, PLUG2, PLUG3: 120 W" in few and "check --all" in few
    assert "contact resistance" not in few
    main(["check", str(GLOW), "--all"])
    every = capsys.readouterr().out
    assert "contact resistance" in every and "check --all" not in every
    assert max(len(line) for line in (few + every).splitlines()) <= 80


def test_what_matters_is_in_the_tables() -> None:
    for kind, names in MATTERS.items():
        assert set(names) <= {a.name for a in table(kind)}, kind  # type: ignore[arg-type]
