"""What the program says about a circuit, in another language: pairs, holes, sentences in sentences."""

from __future__ import annotations

import re

import pytest

from amptrail.paper.told import HOLE, told
from amptrail.paper.words import catalogue, speaking

PAIRS = [(str(a), str(b)) for a, b in catalogue("de")["circuit"]["told"]]


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("G2 resistance 5.95 ohm", "G2 Widerstand 5,95 ohm"),
        ("`WORK` open", "`WORK` unterbrochen"),
        ("X4.1 open and F3 missing", "X4.1 unterbrochen und F3 fehlt"),
        ("clean the metal, renew G2", "das Metall blank machen, G2 erneuern"),
        ("X4.2, X4.3: in the same plug X4", "X4.2, X4.3: im selben Stecker X4"),
        ("W9, W12: at the same place, well (damp, hot)", "W9, W12: am selben Ort, well (feucht, heiß)"),
        (
            "0.1 V or less from G2.1 to body while PUMP runs (running, about 6.07 A)",
            "höchstens 0,1 V von G2.1 nach Karosserie, während PUMP läuft (running, etwa 6,07 A)",
        ),
        (
            "The feed's wire behind FL1 is too thin: 60 A where at most 7.5 A is allowed.",
            "Die Leitung des Behelfs, abgesichert durch FL1, ist zu dünn: 60 A, zulässig höchstens 7,5 A.",
        ),
        (
            "pump-runs does not stop: 11.83 V on it while the vehicle sleeps with a battery at 10.5 V.",
            "pump-runs geht nicht aus im Ruhezustand: 11,83 V liegen an; bei 10,5 V Batteriespannung.",
        ),
        (
            "PUMP does not work in running after a night, because relay K4 does not pull in.",
            "PUMP geht nicht in running nach einer Nacht; Grund: Relais K4 zieht nicht an.",
        ),
        ("what the owner wrote", "what the owner wrote"),  # a person's words stay
        ("K4.87a", "K4.87a"),
        ("", ""),
    ],
)
def test_a_sentence_in_german(english: str, german: str) -> None:
    assert told(english) == english
    with speaking("de"):
        assert told(english) == german


def test_both_sides_of_every_pair_have_the_same_holes() -> None:
    for english, german in PAIRS:
        assert set(HOLE.findall(german)) <= set(HOLE.findall(english)), english
        lost = set(HOLE.findall(english)) - set(HOLE.findall(german))
        assert lost in (set(), {"x"}), english  # only the name of an attribute may be left out
    assert len({a for a, _ in PAIRS}) == len(PAIRS)


def test_no_pair_is_hidden_behind_an_earlier_one() -> None:
    """Filled with names and figures, every pair is told by itself and not by one before it."""
    fill = {**dict.fromkeys("abcde", "K4"), **dict.fromkeys("qrs", "5 V"), **dict.fromkeys("xyz", "K4")}
    inside = {"A": "F3", "B": "G2", "C": "X7", "D": "R1", "Q": "60 A", "R": "20 A"}
    hidden = {}
    with speaking("de"):
        for english, german in PAIRS:
            if re.fullmatch(r"\{\w\}\W*( \w+ )?\W*\{\w\}", english):
                continue  # several in a row: any way of taking them apart will do
            said = told(HOLE.sub(lambda m: {**fill, **inside}[m[1]], english))
            if said != HOLE.sub(lambda m: {**fill, **inside}[m[1]], german):
                hidden[english] = said
    assert hidden == {}
