"""What a job says of itself, line by line, within the width of a terminal."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.main import main
from amptrail.jobs.log.jobwords import LISTED, WIDTH, listing, standing
from amptrail.store import Entry, MemoryLog, rebuild

AT = "2026-11-25T12:00:00+00:00"
Call = Callable[[str], dict[str, Any]]


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.delenv("AMPTRAIL_BY", raising=False)

    def call(line: str) -> dict[str, Any]:
        main([*shlex.split(line), "--json"])
        return dict(json.loads(capsys.readouterr().out))

    assert call('job new gate --complaint "it is dead"')["exit"] == 0
    return call


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('time gate "drive 40"', "drive 40 min"),
        ('time gate "drive +5"', "drive +5 min"),
        ('part gate "relay 12 V" --price 12.5 --count 2', "2 x relay 12 V, 12.50 each"),
        ('set gate "rate=95 ; currency=EUR"', "rate=95; currency=EUR"),
        ('done gate "new eye" --minutes 20', "new eye, 20 min"),
        ('conclude gate "" --cause "water"', "cause: water"),
        ('left gate "hose drips"', "hose drips"),
    ],
)
def test_one_line_for_one_thing_and_all_of_it_in_show(job: Call, line: str, words: str) -> None:
    got = job(f"job {line} --id x1")
    assert got["text"] == f"x1: {words}"
    shown = " ".join(job("job show gate")["text"].split())
    for word in words.replace("+5", "5").split():
        assert word.strip(";,") in shown


@pytest.mark.parametrize(
    ("facts", "code"),
    [
        ("rate=-5", "bad-fact"), ("rate=nan", "bad-fact"), ("vat=inf", "bad-fact"), ("rate=much", "bad-fact"),
        ("language=fr", "no-language"), ("colour=red", "bad-fact"), ("rate", "bad-fact"),
    ],
)  # fmt: skip
def test_a_fact_that_cannot_be(job: Call, facts: str, code: str) -> None:
    got = job(f'job set gate "{facts}"')
    assert got["problems"][0]["code"] == code
    assert got["problems"][0]["remedy"]
    assert job("job show gate")["state"]["facts"] == {}


def test_the_list_says_which_job_is_which() -> None:
    log = MemoryLog()
    assert listing(log) == "no jobs yet"
    for n in range(LISTED + 5):
        log.add(Entry(f"job{n}", "i", "intake", AT, {"text": f"complaint {n} " + "long " * 40}))
    log.add(Entry("job34", "c", "close", AT, {}))
    lines = listing(log).splitlines()
    assert lines[0].startswith("job34  2026-11-25  closed  complaint 34")
    assert lines[-1] == "and 5 earlier: amptrail job search WORDS"
    assert max(map(len, lines)) <= WIDTH


def test_who_read_what_and_nothing_wider_than_the_screen() -> None:
    entries = [
        Entry("gate", "i", "intake", AT, {"text": "word " * 60}, "A"),
        Entry("gate", "r", "reading", AT, {"text": "BAT.+ in running meter 12 V"}, "A. Sample"),
        Entry("gate", "n", "note", AT, {"text": "note " * 60}),
        Entry("gate", "s", "state", AT, {"rate": 95.0, "terms": "t " * 90, "comeback": {"job": "x"}}),
    ]
    text = standing("gate", rebuild(entries), entries)
    assert "BAT.+ in running meter 12 V  (A. Sample)" in text
    assert "comeback" not in text
    assert max(map(len, text.splitlines())) <= WIDTH


SHEET = """vehicle "Pump with a bad ground"
phase ignition-on 10 s
phase asleep 60 s
battery BAT 12.6 V
fuse F1 15 A
switch SW closed in ignition-on
motor PUMP 1 ohm breaks 2.5 A runs 6 A at 13 V
ground G1
path BAT.- -- [W0: 25 mm2 0.5 m] -- body
path BAT.+ -- F1 -- SW -- PUMP -- [W3: 1.5 mm2 0.5 m] -- G1
must runs: PUMP.in to PUMP.out 9 V or more in ignition-on; 1 V or less in asleep
"""


def test_what_is_read_after_the_repair_is_of_the_repaired_vehicle(job: Call, tmp_path: Path) -> None:
    sheet = tmp_path / "pump.sheet"
    sheet.write_text(SHEET, encoding="utf-8")
    for line in (
        f"new pump {sheet}", 'add pump "runs in ignition-on does not work"',
        'add pump "G1.1 in ignition-on meter 11.8 V"', 'conclude pump "G1 open"',
    ):  # fmt: skip
        assert job(f"job {line}")["exit"] == 0
    assert "G1 repaired" in job('job done pump "new eye"')["text"]
    for line in ("runs in ignition-on works", "G1.1 in ignition-on meter 0.02 V"):
        job(f'job add pump "{line}"')
    told = job("suspects pump")
    assert told["suspects"][0]["faults"][0]["part"] == "G1" and told["doubtful_reading"] is None
    assert "repaired" not in job('job done pump "and a new bolt"')["text"]  # once is enough


def test_an_error_counts_the_lines_that_were_typed_not_those_of_the_job(job: Call) -> None:
    demo = Path(__file__).parent.parent.parent / "demos" / "sprayer.sheet"
    assert job(f"job new spray {demo}")["exit"] == 0
    for _ in range(3):
        assert job('job add spray "PUMP in running does not work"')["exit"] == 0
    wrong = job('job add spray "PMP in running does not work"')
    assert (wrong["exit"], wrong["problems"][0]["line"]) == (2, 1)
