"""Instruments somebody measured: the same reading in other words gives the same answer."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.main import main
from amptrail.errors import InputError
from amptrail.instruments import by_name
from amptrail.jobs.judging.suspects import SuspectOptions, suspects
from amptrail.jobs.solved.observe import observations
from amptrail.sheet import parse

SHEET = """
place tail 5 min
battery BAT 12.6 V
fuse F1 10 A
lamp A 12 V 21 W at tail
ground G1 at tail
path BAT.+ -- F1 -- A -- G1
path BAT.- -- body
"""
CIRCUIT = parse(SHEET)
OPTIONS = SuspectOptions(doubles="off")


def ranking(readings: str) -> list[tuple[str, float]]:
    return [(r["text"], round(r["probability"], 9)) for r in suspects(SHEET, readings, OPTIONS)["suspects"]]


def test_an_offset_is_taken_off() -> None:
    """0.83 A on a clamp that shows 0.03 A at nothing is 0.80 A on one that shows nothing."""
    mine = 'my clamp "offset 0.03 A accuracy 2 %"\nF1 in running clamp 0.83 A\n'
    plain = 'my clamp "offset 0 A accuracy 2 %"\nF1 in running clamp 0.80 A\n'
    assert ranking(mine) == ranking(plain)
    assert ranking(mine) != ranking("F1 in running clamp 0.83 A\n")


def test_an_own_lamp_loads_the_circuit_as_it_does() -> None:
    """A lamp that draws 1.75 A at 12 V is one of 21 W."""
    mine = 'my lamp "draws 1.75 A"\nA.in in running lamp dim\n'
    assert ranking(mine) == ranking("A.in in running lamp 21 W dim\n")
    assert ranking(mine) != ranking("A.in in running lamp dim\n")


def test_a_worse_meter_says_less() -> None:
    """What the table's meter rules out, one that is 20 % wrong does not."""
    line = "A.in in running meter 11.5 V\n"
    sure = dict(ranking(line))
    vague = dict(ranking(f'my meter "accuracy 20 %"\n{line}'))
    assert max(sure.values()) > max(vague.values())


def test_only_from_its_line_on_and_only_its_owner() -> None:
    text = (
        "F1 in running clamp 0.8 A\n"
        'my clamp "offset 0.1 A"\n'
        "F1 in running clamp 0.8 A\n"
        "shop says F1 in running clamp 0.8 A\n"
        'my clamp "offset 0.2 A"\n'
        "F1 in running clamp 0.8 A\n"
    )
    values = [round(o.value, 6) for o in observations(CIRCUIT, text).used]
    assert values == [0.8, 0.7, 0.8, 0.6]


def test_a_size_is_never_below_nothing() -> None:
    (o,) = observations(CIRCUIT, 'my clamp "offset 0.05 A"\nF1 in asleep clamp 0.02 A\n').used
    assert o.value == 0.0


@pytest.mark.parametrize(
    "words",
    [
        "offset 3 V",
        "accuracy 2 A",
        "offset",
        "draws 1 A",
        "floor -1 A",
        "offset nan A",
        "12 V",
        "colour red",
        "",
    ],
)
def test_what_is_no_instrument_is_said_with_its_line(words: str) -> None:
    with pytest.raises(InputError) as caught:
        observations(CIRCUIT, f'F1 in running clamp 0.8 A\nmy clamp "{words}"\n')
    problem = caught.value.problems[0]
    assert problem.line == 2
    assert problem.message


def test_what_an_instrument_is_called() -> None:
    own = by_name("lamp 24 V draws 0.5 A")
    assert own.name == "lamp 24 V draws 0.5 A"
    assert own.tap_parameters == (24.0, 12.0)
    assert by_name("ohmmeter offset 0.2 ohm").offset == 0.2
    assert by_name("meter floor 50 mV accuracy 1 %").floor == 0.05


def test_brought_to_every_job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.delenv("AMPTRAIL_BY", raising=False)
    (tmp_path / "a.sheet").write_text(SHEET)

    def job(line: str) -> dict[str, Any]:
        main([*shlex.split(line), "--json"])
        return dict(json.loads(capsys.readouterr().out))

    job(f"job new one {tmp_path / 'a.sheet'} --by A")
    mine = 'my clamp "offset 0.03 A"'
    assert job(f"job add one '{mine}' --by A")["exit"] == 0
    assert job("job add one 'my clamp \"offset 3 V\"' --by A")["exit"] == 2
    assert [r["line"] for r in job(f"job new two {tmp_path / 'a.sheet'} --by A")["state"]["readings"]] == [
        mine
    ]
    assert job(f"job new three {tmp_path / 'a.sheet'} --by B")["state"]["readings"] == []
    job("job undo two")
    again = job("job again one one-2 --by A")["state"]["readings"]
    assert [r["line"] for r in again] == [mine]
    assert job(f"job new four {tmp_path / 'a.sheet'} --by A")["state"]["readings"][0]["line"] == mine
