"""Which phases a name stands for: solver, twin and checks ask the same functions."""

from __future__ import annotations

import pytest

from amptrail.circuit.model import Circuit, Part
from amptrail.circuit.phases import closed, meant, names_phase, position, sleeping, turning
from amptrail.sheet import parse
from amptrail.solve.assemble import assemble

OWN = "phase key-on as ignition-on 9 s\nphase start as cranking 3 s\n"
OWN += "phase go as running 9 s\nphase tail as running 9 s\n"
PARTS = "battery BAT\nswitch S {closed}\nalternator ALT {spins}\nlamp L\n"
PARTS += "path BAT.+ -- S -- L -- BAT.-\npath ALT.B+ -- BAT.+\n"


def _circuit(phases: str = OWN, closed: str = "", spins: str = "") -> Circuit:
    return parse(phases + PARTS.format(closed=closed, spins=spins))


def _part(circuit: Circuit, name: str) -> Part:
    return next(p for p in circuit.parts if p.name == name)


@pytest.mark.parametrize(
    ("said", "phases"),
    [
        ("start", ["start"]),
        ("cranking", ["start"]),
        ("running", ["go", "tail"]),
        ("TAIL", ["tail"]),
        ("key_on", ["key-on"]),
        ("asleep", []),
        ("nonsense", []),
    ],
)
def test_a_name_or_the_base_it_stands_on(said: str, phases: list[str]) -> None:
    assert [p.name for p in meant(_circuit(), said)] == phases


def test_a_phase_of_that_very_name_is_meant_alone() -> None:
    circuit = _circuit("phase running 9 s\nphase tail as running 9 s\n")
    assert [p.name for p in meant(circuit, "running")] == ["running"]


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("closed in cranking", [False, True, False, False]),
        ("closed in start, tail", [False, True, False, True]),
        ("closed in running", [False, False, True, True]),
        ("never closed", [False] * 4),
        ("", [False] * 4),
    ],
)
def test_a_switch_is_closed_where_its_names_say_and_the_solver_agrees(text: str, when: list[bool]) -> None:
    circuit = _circuit(closed=text)
    assert [closed(circuit, _part(circuit, "S"), p) for p in circuit.phases] == when
    net = assemble(circuit)
    column = net.switches.index("S")
    assert [bool(x) for x in net.static.closed[:4, column]] == when


def test_off_is_no_phase_but_a_name() -> None:
    circuit = _circuit(closed="closed in off")
    assert closed(circuit, _part(circuit, "S"), None)
    assert not names_phase(circuit, None, ["start"])


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("", [False, False, True, True]),
        ("spins in go", [False, False, True, False]),
        ("spins in running", [False, False, True, True]),
    ],
)
def test_an_alternator_turns_where_the_engine_runs(text: str, when: list[bool]) -> None:
    circuit = _circuit(spins=text)
    alternator = _part(circuit, "ALT")
    assert [turning(circuit, alternator, p) for p in circuit.phases] == when
    assert not turning(circuit, alternator, None)


def test_the_sleeping_phase() -> None:
    assert sleeping(_circuit("phase sleep as asleep 1 h\nphase go as running 9 s\n")).name == "sleep"
    assert sleeping(_circuit()).name == "tail"


LIT = "phase lit as ignition-on 9 s with {switch} at {at}\n"
LIT += "phase go as running 9 s\nphase sleep as asleep 1 h\n"


@pytest.mark.parametrize(
    ("switch", "positions", "contact", "at", "go"),
    [
        ("LIGHTS", "off, on", "1-2", "on", "off"),  # said where the key alone would do: worked by hand
        ("SPEED", "s0, s1", "1-2", "s1", "s0"),
        ("KILL", "stop, run", "1-2", "stop", "run"),
        ("KEY", "off, on", "1-2", "on", "on"),
        ("LOCK", "off, on", "30-15", "on", "on"),
        ("LOCK", "off, on, start", "1-2", "on", "on"),
    ],
)
def test_a_switch_worked_by_hand_rests_where_no_phase_names_it(
    switch: str, positions: str, contact: str, at: str, go: str
) -> None:
    made = f"switch {switch} positions {positions}\n{switch}.{contact} closed at {positions.split(', ')[1]}\n"
    circuit = _circuit(LIT.format(switch=switch, at=at) + made)
    names = tuple(positions.split(", "))
    now = [position(circuit, switch, names, p) for p in circuit.phases]
    assert now == [at, go, "off" if "off" in names else names[0]]
