"""`amptrail feed` as a stranger calls it: schema, readings, files of feeds, bad input, 80 columns."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files
from amptrail.cli.main import main

ROOT = Path(__file__).parents[2]
_spec = importlib.util.spec_from_file_location("schemas_of_cli", ROOT / "tests" / "cli" / "schemas.py")
assert _spec is not None and _spec.loader is not None
schemas = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(schemas)

DEMOS = sorted(p.stem for p in (ROOT / "demos").glob("*.sheet"))
GOOD = "from F3.out to K4.86 fuse 5 A wire 0.75 mm2 2 m"


def ask(demo: str, *argv: str, **more: str) -> dict[str, Any]:
    names = (f"{demo}.sheet", f"{demo}.readings")
    files = {n: (ROOT / "demos" / n).read_text(encoding="utf-8") for n in names}
    return answer(["feed", names[0], *argv], Files({**files, **more}))


@pytest.mark.parametrize("demo", DEMOS)
def test_every_demo_is_as_its_schema_says(demo: str) -> None:
    sheet = answer(
        ["check", "s"], Files({"s": (ROOT / "demos" / f"{demo}.sheet").read_text(encoding="utf-8")})
    )
    load = next(p["name"] for p in sheet["parts"] if p["kind"] in ("motor", "lamp", "heater", "solenoid"))
    got = ask(demo, "--feed", f"from BAT.+ to {load}.in fuse 10 A wire 1 mm2 2 m", "--nominal")
    assert got["exit"] in (0, 1), got["problems"]
    schemas.validate(got)
    assert got["feeds"][0]["why"].endswith(".")


def test_worst_case_stands_beside_the_nominal_flags() -> None:
    got = ask("sprayer", "--feed", GOOD, "--against", "W13 open")
    schemas.validate(got)
    (row,) = got["feeds"]
    assert (got["exit"], row["verdict"], row["flags"]["accept"]) == (0, "holds", True)
    assert row["worst_case"]["voltage_drop"]["margin"] < row["margins"]["restores_from_asleep"]["margin"]
    assert row["worst_case"]["voltage_drop"]["corner"] == "cold"
    bare = ask("sprayer", "--feed", GOOD, "--against", "W13 open", "--nominal")["feeds"][0]
    assert bare["worst_case"] == {} and bare["flags"] == row["flags"]


def test_a_suspect_still_alive_makes_it_undecided_with_the_test_that_decides() -> None:
    got = ask("sprayer", "--feed", GOOD, "--against", "W13 open", "--readings", "sprayer.readings")
    schemas.validate(got)
    (row,) = got["feeds"]
    assert row["verdict"] == "undecided"
    assert row["refusals"] == [] and row["would_break"][0]["suspect"]
    assert row["decides"] and row["true_only_if"]


def test_a_file_of_feeds_as_lines_and_as_statements() -> None:
    lines = f"# two ways\n{GOOD}\nfrom K4.87 to K4.86 fuse 5 A wire 0.75 mm2 2 m\n"
    said = f'feed J1 "from the key": {GOOD}\nfeed J2: from K4.87 to K4.86 fuse 5 A wire 0.75 mm2 2 m\n'
    for text in (lines, said):
        got = ask("sprayer", "--feeds", "f", "--against", "W13 open", "--nominal", f=text)
        assert [r["verdict"] for r in got["feeds"]] == ["holds", "refused"], got["problems"]
        assert got["feeds"][1]["rule"] == "restores_from_asleep"
        assert "K4 itself" in got["feeds"][1]["why"]


@pytest.mark.parametrize(
    ("argv", "code"),
    [
        ((), "no-feed"),
        (("--feed", "from F3.out to F3.out wire 1 mm2 1 m"), "feed-leads-nowhere"),
        (("--feed", "J9"), "no-such-feed"),
        (("--feed", "from F3.out to K4.86"), "feed-without-wire"),
    ],
)
def test_bad_input_is_told_with_a_remedy(argv: tuple[str, ...], code: str) -> None:
    got = ask("sprayer", *argv)
    assert (got["exit"], got["problems"][0]["code"]) == (2, code)
    assert got["problems"][0]["remedy"]


def test_a_wrong_line_of_a_file_is_named() -> None:
    got = ask("sprayer", "--feeds", "f", f=f"{GOOD}\nfrom F99.out to K4.86 wire 1 mm2 1 m\n")
    assert got["exit"] == 2
    assert (got["problems"][0]["line"], got["problems"][0]["nearest"]) == (2, "F9")


def test_for_people_it_fits_eighty_columns(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(ROOT)
    main(["feed", "demos/sprayer.sheet", "--feed", GOOD, "--against", "W13 open", "--nominal"])
    text = capsys.readouterr().out
    assert "HOLDS" in text and "TEMPORARY FEED" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_page_names_every_rule_and_flag() -> None:
    from amptrail.feed.flags import ORDER
    from amptrail.feed.rules import RULES

    page = (ROOT / "docs" / "feeds.md").read_text(encoding="utf-8")
    for rule in RULES:
        said = [rule.SEVERITY[p] for p in ("try", "home", "leave")]
        row = next(line for line in page.splitlines() if line.startswith(f"| `{rule.NAME}`"))
        assert [x.strip() for x in row.split("|")[3:6]] == said, rule.NAME
    grouped = {"sleeps_from_asleep", "sleeps_after_awake_fit", "fuses_blown", "chatter"}
    assert all(f"`{f}`" in page for f in ORDER if f not in grouped)
