"""A German paper says nothing in English: scanned word by word, with names and people's own text left out."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from amptrail.cli.main import main
from amptrail.faults import catalogue
from amptrail.jobs.judging.claims import claim
from amptrail.jobs.judging.rootcause import to_check
from amptrail.jobs.log.cases import case
from amptrail.jobs.papers.accepting import acceptance
from amptrail.jobs.papers.papers import PaperOptions, make
from amptrail.paper.told import told
from amptrail.paper.words import ENGLISH, speaking
from amptrail.paper.words import catalogue as sentences
from amptrail.sheet import fault_text, parse

ROOT = Path(__file__).parents[2]
POSITIONS = ("on start",)  # of the switch of the demo
DEMOS = sorted((ROOT / "demos").glob("**/*.sheet"))
# English that is no German and no name in the demos
ENGLISH_WORDS = set(
    """the and is of with while from or not be at good clean renew replace open its by has have find then
    stuck where because than does for this are one under each more less about when between only over
    all nobody nothing resistance ground supply neither wire fuse allowed holds refused undecided
    temporary meter lamp bright dark dim repair price until lost you your it to as if no on out they
    we must should may can works read reads other excludes still again before after first
    caution fuel""".split()  # noqa: SIM905
)
# a line of the readings, typed or to be typed, is notation in every language
LINE = re.compile(r"\S+(?: to \S+)? in \S+ (?:meter|lamp|loaded|clamp|eye|hand|is|sounds|works)\b")


def english_in(text: str, leave: tuple[str, ...], lines: tuple[str, ...] = ()) -> set[str]:
    for line in lines:
        text = text.replace(line, " ")
    text = LINE.sub(" ", text)
    for name in sorted(leave, key=len, reverse=True):
        text = text.replace(name, " ")
    return set(re.findall(r"(?<![\w.])[a-z]+(?!\w)", text.lower())) & ENGLISH_WORDS


def names(sheet: str) -> tuple[str, ...]:
    c = parse(sheet)
    modules = [str(x.name) for x in c.modules if hasattr(x, "name")]
    places = [x for p in c.places for x in (p.name, p.text) if x]
    said = [x.name for group in (c.parts, c.phases, c.musts) for x in group]
    return (*said, *places, *modules)


@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_every_sentence_about_a_circuit_has_its_german(path: Path) -> None:
    """Each fault considered in the demos: its words, its repair, what it demands, what a repair must show."""
    text = path.read_text(encoding="utf-8")
    circuit, leave = parse(text), names(text)
    said: set[str] = set()
    for h in catalogue(circuit):
        said.add(h.repair)
        if not h.faults:
            continue
        said |= {fault_text(circuit, h.faults), *acceptance(circuit, h.faults)}
        said |= {n.words for n in to_check(circuit, h.faults)}
        demanded = claim(circuit, tuple(h.faults))
        said |= {d.words for d in demanded.demands} if demanded else set()
    assert len(said) > 20
    with speaking("de"):
        left = {x: english_in(told(x), leave) for x in said}
    assert {x: words for x, words in left.items() if words} == {}


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The demo job, its own words in German, with a recording and a feed that was asked for."""
    patch = pytest.MonkeyPatch()
    patch.setenv("AMPTRAIL_HOME", str(tmp_path_factory.mktemp("jobs")))
    patch.delenv("AMPTRAIL_STORE", raising=False)
    patch.delenv("AMPTRAIL_BY", raising=False)
    patch.chdir(ROOT / "demos")
    for line in (
        'job new gate sprayer.sheet --complaint "die Pumpe steht"',
        'job set gate "language=de ; vehicle=Spritze ; by=A. Muster ; rate=95 ; currency=EUR ; vat=19"',
        *(f"job add gate {shlex.quote(x)}" for x in (
            "shop says BAT.+ in ignition-on meter 12.5 V",
            "PUMP in ignition-on does not work",
            "PUMP replaced, no change",
            "PUMP.in in ignition-on meter 12.2 V",
            "PUMP in running works 7 of 10",
        )),
        'job ask gate "from F4.in to PUMP.in wire 0.5 mm2 3 m" --asked "die Werkstatt"',
        "recording drive.csv --job gate --channel 2=K4.87",
    ):  # fmt: skip
        assert main(shlex.split(line)) in (0, 1), line
    yield "gate"
    patch.undo()


def strings(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        for key, value in node.items():
            if key not in ("kind", "svg", "mark", "media", "size", "data", "align"):
                yield from strings(value)
    elif isinstance(node, list):
        for value in node:
            yield from strings(value)
    elif isinstance(node, str):
        yield node


def drawn(node: Any) -> Iterator[str]:
    """The words of the pictures."""
    if isinstance(node, dict):
        for value in node.values():
            yield from drawn(value)
    elif isinstance(node, list):
        for value in node:
            yield from drawn(value)
    elif isinstance(node, str) and node.startswith("<svg"):
        yield from re.findall(r"<(?:text|tspan|title|desc)[^>]*>([^<]+)<", node)


def fragments() -> set[str]:
    """Stretches of English sentences of the catalogue, between their holes."""
    found = set()
    for rows in sentences(ENGLISH).values():
        for text in rows.values():
            for one in text if isinstance(text, list) else [text]:
                found |= {x.strip() for x in re.split(r"\{\w+\}", one)}
    return {x for x in found if len(x) > 9 and " " in x}


def scan(kind: str, **more: Any) -> None:
    found = case("gate")
    assert found.state.sheet is not None
    lines = tuple(line for _, line in found.state.readings)
    leave = (*names(found.state.sheet), *POSITIONS, "drive.csv")
    made = make(found, PaperOptions(kind=kind, **more))  # type: ignore[arg-type]
    data = json.loads(json.dumps(made.data()))
    assert made.language == "de"
    seen = [made.title, *strings(data["blocks"])]
    assert len(seen) > 3
    for text in seen:
        assert text in ("open", "yes", "no") or not english_in(text, leave, lines), (kind, text)  # marks
    whole = "\n".join(seen)
    for english in fragments():
        assert english not in whole, (kind, english)
    for text in drawn(data["blocks"]):
        assert not english_in(text, leave, lines), (kind, text)


PAPERS = ("quote", "slip", "proof-sheet", "findings", "pencil", "invoice")


def test_no_english_in_a_german_paper(job: str) -> None:
    for kind in PAPERS:
        scan(kind)
    for part, kind in (("PUMP", "part-sheet"), ("ECM", "module-sheet"), ("G2", "part-sheet")):
        scan(kind, part=part)
    for line in (
        'job conclude gate "G2 resistance" --cause "der Tank läuft über"',
        'job fit gate "from PUMP.out to BAT.- wire 6 mm2 9.4 m cut W11, W12" --until Freitag --asked X',
        'job fit gate "from BAT.+ to PUMP.in fuse 15 A wire 2.5 mm2 5 m" --anyway',
        'job done gate "Öse neu"',
        'job left gate "der Schlauch tropft"',
        'job time gate "drive 40"',
    ):
        assert main(shlex.split(line)) == 0, line
    for kind in (*PAPERS, "notice"):
        scan(kind)
    for where in ("splice", "fuse box", "plug"):
        scan("label", where=where, sheet="62x29", feed="J1")
