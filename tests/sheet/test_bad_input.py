"""What people really hand in: other encodings, decimal commas, binaries, slips of the pen."""

from __future__ import annotations

import codecs
import random
import time

import pytest

from amptrail.errors import InputError, Problem, as_row
from amptrail.sheet import parse, parse_fault, parse_readings
from amptrail.sheet.parse import decode

SHEET = (
    'vehicle "Müller, 12 V"\nphase running 9 s\nbattery BAT 12,6 V\nfuse F1 15 A\nrelay K4 coil 85 Ω\n'
    "lamp L 12 V 5 W\nmodule ECM\npath BAT.+ -- F1 -- [W1: 1,5 mm2 2,5 m] -- K4.30-87 -- L -- body\n"
    "path BAT.- -- body\n"
)


def _problems(text: str) -> list[Problem]:
    with pytest.raises(InputError) as caught:
        parse(text)
    return list(caught.value.problems)


@pytest.mark.parametrize(
    "data",
    [
        SHEET.encode(),
        codecs.BOM_UTF8 + SHEET.encode(),
        SHEET.replace("\n", "\r\n").encode(),
        SHEET.replace("\n", "\r").encode(),
        SHEET.replace("Ω", "ohm").encode("latin-1"),
        SHEET.encode("utf-16"),
        codecs.BOM_UTF16_BE + SHEET.encode("utf-16-be"),
        codecs.BOM_UTF16_LE + SHEET.replace("\n", "\r\n").encode("utf-16-le"),
    ],
    ids=["utf-8", "mark", "crlf", "cr", "latin-1", "utf-16", "utf-16-be", "utf-16-le-crlf"],
)
def test_every_common_encoding_gives_the_same_circuit(data: bytes) -> None:
    assert parse(decode(data)) == parse(SHEET)


def test_a_decimal_comma_is_a_decimal_point() -> None:
    wire = next(p for p in parse(SHEET).parts if p.name == "W1")
    assert (wire.said("area_mm2"), wire.said("length_m")) == (1.5, 2.5)


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", "# only a remark\n", " \t \r\n"])
def test_an_empty_file_is_told_so(text: str) -> None:
    assert [p.code for p in _problems(text)] == ["empty"]


def test_a_binary_file_is_told_so() -> None:
    noise = random.Random(1).randbytes(20_000)
    assert [p.code for p in _problems(decode(noise))] == ["not-text"]
    assert [p.code for p in _problems(decode(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"))] == ["not-text"]


def test_bytes_without_a_nought_are_refused_line_by_line() -> None:
    noise = bytes(b or 1 for b in random.Random(2).randbytes(4_000))
    assert all(p.line >= 1 and p.severity == "error" for p in _problems(decode(noise)))


def test_fifty_megabytes_are_refused_at_once() -> None:
    data = b"lamp L 5 W\n" * (50_000_000 // 11)
    began = time.perf_counter()
    assert [p.code for p in _problems(decode(data))] == ["too-long"]
    assert time.perf_counter() - began < 5.0


@pytest.mark.parametrize(
    ("line", "code", "near"),
    [
        ("resistor R -3 ohm", "out-of-range", None),
        ("path L.in -- [W9: -3 mohm] -- F1.in", "out-of-range", None),
        ("ECM.30 supply -25 ohm awake", "negative", None),
        ("path F11 -- body", "unknown-part", "F1"),
        ("net x: K4.87b, body", "unknown-terminal", "87"),
        ("fault F: K4.87b open", "unknown-terminal", "87"),
        ("fuze F2 15 A", "syntax", "fuse"),
        ("pth BAT.+ -- F1", "syntax", "path"),
        ("  interlok K4 for x", "syntax", "interlock"),
        ("ECM x whle y", "syntax", "while"),
        ("fuse F2 15 V", "unknown-attribute", None),
        ("fuse F2 15", "no-unit", None),
        ("phase start as cranckng 3 s", "unknown-base", "cranking"),
        ("ECM.h can high", "syntax", "can-high"),
    ],
)
def test_a_slip_is_placed_and_the_nearest_name_offered(line: str, code: str, near: str | None) -> None:
    (p,) = _problems(SHEET + line)
    assert (p.code, p.line) == (code, 10)
    assert p.column >= 1 and p.remedy
    assert near is None or p.nearest == near


def test_all_problems_of_a_sheet_come_in_one_pass_in_order() -> None:
    slips = ["fuse F2 15", "path F11 -- body", "lamp F1 5 W", "resistor R -3 ohm", "fault Q: K4.99 open"]
    assert [p.line for p in _problems(SHEET + "\n".join(slips))] == [10, 11, 12, 13, 14]


def test_all_problems_of_readings_come_in_one_pass() -> None:
    circuit = parse(SHEET)
    lines = ["F1.in in runing meter 1 V", "F11.in in running meter 1 V", "F1.x in running meter 1 V"]
    with pytest.raises(InputError) as caught:
        parse_readings(circuit, "\r\n".join(lines))
    got = [(p.line, p.code, p.nearest) for p in caught.value.problems]
    assert [g[:2] for g in got] == [(1, "unknown-phase"), (2, "unknown-part"), (3, "unknown-terminal")]
    assert (got[0][2], got[1][2]) == ("running", "F1")


@pytest.mark.parametrize("text", ["", "open", "F1", "F1 opne", "F1 open and", "\0", "F1 open; K4 open"])
def test_a_fault_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_fault(parse(SHEET), text)
    assert caught.value.problems


@pytest.mark.parametrize(
    ("line", "near"),
    [
        ("bulb H1 12 V 55 W", "lamp"),
        ("Sicherung F1 15 A", "fuse"),
        ("fuze F1 15 A", "fuse"),
        ("earth G1", "ground"),
        ("F1.out -- H1", "path"),
    ],
)
def test_a_part_called_otherwise_is_told_its_word(line: str, near: str) -> None:
    (p,) = _problems(line)
    assert (p.line, p.column, p.nearest) == (1, 1, near)


@pytest.mark.parametrize("line", ["rubbish", "rubbish here", "this is rubbish"])
def test_a_line_that_begins_as_none_is_told_how_lines_begin(line: str) -> None:
    (p,) = _problems(line)
    assert "relay" in p.remedy and "path BAT.+" in p.remedy


@pytest.mark.parametrize(
    "line",
    [
        "phase late as running 1e400 s",
        "place bench 1e400 min",
        "likelier F1 1e99 x",
        "draw asleep at most 1e99999999999999999999 A",
        "must lit: L.in to L.out 1e16 V or more in running",
    ],
)
def test_a_figure_no_number_holds_is_refused_where_it_stands(line: str) -> None:
    (p,) = _problems(SHEET + line + "\n")
    assert (p.code, p.line) == ("out-of-range", SHEET.count("\n") + 1) and p.column > 1 and p.remedy


def test_an_endless_word_is_cut_where_it_is_told() -> None:
    (p,) = _problems(SHEET + f"path BAT.+ -- {'Q' * 5000} -- body\n")
    assert len(p.text()) < 400 and len(as_row(p)["message"]) < 200  # type: ignore[arg-type]
