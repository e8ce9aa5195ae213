"""What is printed reads back as the same circuit; every example of the page is run."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings

from amptrail.circuit.checks import check
from amptrail.circuit.model import Circuit
from amptrail.circuit.strap import needs_strap
from amptrail.errors import InputError
from amptrail.sheet import fault_text, parse, parse_fault, parse_readings, print_sheet
from strategies import circuits

PAGE = (Path(__file__).parents[2] / "docs" / "sheet.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```(\w+)\n(.*?)```", PAGE, re.S)
SHEET, READINGS, FAULTS, REFUSED = (
    next(t for w, t in BLOCKS if w == kind) for kind in ("sheet", "readings", "faults", "refused")
)


@settings(
    max_examples=60,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(circuits())
def test_print_then_parse_is_the_same_circuit(circuit: Circuit) -> None:
    again = parse(print_sheet(circuit))
    if needs_strap(circuit) is not None:  # the strap that is taken is written down, and then stays
        circuit, again = again, parse(print_sheet(again))
    assert again == circuit


def test_the_page_reads_prints_and_is_sound() -> None:
    circuit = parse(SHEET)
    assert parse(print_sheet(circuit)) == circuit
    assert not [p for p in check(circuit) if p.severity == "error"]
    standing = ("battery", "with ", "without ")  # what holds for the lines below them
    told = [x for x in READINGS.splitlines() if x.strip() and not x.startswith(standing)]
    items = parse_readings(circuit, READINGS).items
    assert [r.text.split()[0] for r in items] == [x.split()[0] for x in told]
    assert len(told) > 17


def test_every_statement_of_the_page_matters() -> None:
    whole, lines = parse(SHEET), SHEET.splitlines()
    for i, line in enumerate(lines):
        if not line.split("#")[0].strip():
            continue
        try:
            without = parse("\n".join(lines[:i] + lines[i + 1 :]))
        except InputError:
            continue
        assert without != whole, line


def test_every_block_of_the_page_is_run() -> None:
    assert [w for w, _ in BLOCKS] == ["sheet", "readings", "faults", "sheet", "refused"]
    phases = parse(BLOCKS[3][1])
    assert check(phases) == [] and parse(print_sheet(phases)) == phases


@pytest.mark.parametrize("text", FAULTS.splitlines())
def test_the_faults_of_the_page_read_print_and_read_back(text: str) -> None:
    circuit = parse(SHEET)
    faults = parse_fault(circuit, text)
    assert parse_fault(circuit, fault_text(circuit, faults)) == faults


@pytest.mark.parametrize("line", REFUSED.splitlines())
def test_the_page_says_what_is_refused(line: str) -> None:
    text, code = line.rsplit(maxsplit=1)
    with pytest.raises(InputError) as caught:
        parse(SHEET + text)
    assert [p.code for p in caught.value.problems] == [code]


def test_faults_print_and_read_back() -> None:
    circuit = parse(SHEET)
    for named in circuit.faults:
        assert parse_fault(circuit, fault_text(circuit, named.faults)) == named.faults


@pytest.mark.parametrize(
    ("line", "code", "column"),
    [
        ("fuse F9 15", "no-unit", 9),
        ("fuse F9 15 V", "unknown-attribute", 9),
        ("path F7 -- body", "unknown-part", 6),
        ("resistor R -3 ohm", "out-of-range", 12),
        ('place x "abc', "open-text", 9),
        ("lamp F1 5 W", "twice", 6),
        ("ECM x while", "syntax", 12),
        ("fault Q: K4.99 open", "unknown-terminal", 13),
    ],
)
def test_an_error_says_where(line: str, code: str, column: int) -> None:
    number = len(SHEET.splitlines()) + 1
    with pytest.raises(InputError) as caught:
        parse(SHEET + line + "\n")
    assert [(p.code, p.line, p.column) for p in caught.value.problems] == [(code, number, column)]


def test_all_problems_come_in_one_pass() -> None:
    with pytest.raises(InputError) as caught:
        parse("fuse F1 15\npath X -- Y\nlamp L 12 Q")
    assert [p.line for p in caught.value.problems] == [1, 2, 3]


@pytest.mark.parametrize("text", ["", "# nothing", "\0\1\2", "x" * 2_000_001])
def test_what_is_no_sheet_is_refused(text: str) -> None:
    with pytest.raises(InputError):
        parse(text)
