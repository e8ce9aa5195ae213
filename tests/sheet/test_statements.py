"""No statement of a sheet is idle: without it the circuit is another, or the sheet is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from amptrail.errors import InputError
from amptrail.sheet import parse, print_sheet
from amptrail.sheet.feeds import feed_text

DEMOS = sorted((Path(__file__).parents[2] / "demos").glob("*.sheet"))


def test_there_are_demos() -> None:
    assert len(DEMOS) >= 6


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_removing_any_statement_changes_the_circuit_or_is_refused(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    whole, lines = parse(text), text.splitlines()
    idle = []
    for i, line in enumerate(lines):
        if not line.split("#")[0].strip():
            continue
        try:
            if parse("\n".join(lines[:i] + lines[i + 1 :])) == whole:
                idle.append(line)
        except InputError:
            continue
    assert idle == []


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_a_demo_prints_and_reads_back(path: Path) -> None:
    circuit = parse(path.read_text(encoding="utf-8"))
    assert parse(print_sheet(circuit)) == circuit


def test_a_short_feed_may_have_a_lamp_in_its_lead() -> None:
    """A lamp limits what a short behind it draws; the words printed back mean the same feed."""
    circuit = parse(
        "battery BAT\nfuse F1 10 A\nlamp L 12 V 5 W\nground G1\npath BAT.+ -- F1 -- L -- G1 -- body\n"
        "path BAT.- -- body\nfeed J1: from F1.out to L.in fuse 5 A lamp 21 W wire 1 mm2 2 m"
    )
    (feed,) = circuit.feeds
    assert [p.kind for p in feed.parts] == ["fuse", "lamp", "wire"]
    assert dict(feed.parts[1].given) == {"rated_v": 12.0, "rated_w": 21.0}
    assert feed_text(feed) == "from F1.out to L.in fuse 5 A lamp 21 W wire 1 mm2 2 m"
    assert parse(print_sheet(circuit)).feeds == circuit.feeds


def test_a_short_feed_ends_on_a_ground_and_its_relay_may_be_suppressed() -> None:
    """A ground takes a new leg; the words printed back mean the same feed."""
    text = (
        "battery BAT\nfuse F1 10 A\nlamp L 12 V 5 W\nground G1\n"
        "path BAT.+ -- F1 -- L -- G1\npath BAT.- -- body\n"
        "feed J1: from BAT.+ to L.in through relay switched by F1.out to G1 suppressed"
        " fuse 10 A wire 1 mm2 2 m\n"
    )
    circuit = parse(text)
    (feed,) = circuit.feeds
    relay = next(p for p in feed.parts if p.kind == "relay")
    assert relay.said("suppressed") == "diode"
    assert [h.a for h in feed.paths[1].hops if h.part == "G1"] == ["2"]
    assert parse(print_sheet(circuit)).feeds == circuit.feeds
