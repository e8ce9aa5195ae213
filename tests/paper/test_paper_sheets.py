"""The papers: set, opened again with an independent PDF library (pypdfium2), read and measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser

import pypdfium2
import pytest
from samples import HOLDS, JOB, REFUSED

from amptrail.errors import InputError
from amptrail.paper import Paper, html, pdf
from amptrail.paper.blocks import A4, HALF, LABELS, LETTER, Columns, Size, Text
from amptrail.paper.common import HANDS_80
from amptrail.paper.facts import Bill, CaseFacts, Fitted, Reading, Spent, Used
from amptrail.paper.findings import findings
from amptrail.paper.invoice import invoice
from amptrail.paper.label import label
from amptrail.paper.notice import days, notice
from amptrail.paper.pencil import pencil
from amptrail.paper.plain import plain
from amptrail.paper.quote import quote
from amptrail.paper.sheets import condemn, proof
from amptrail.paper.slip import slip

Make = Callable[[CaseFacts, Size], Paper]
FULL: dict[str, Make] = {
    "findings": findings,
    "notice": notice,
    "quote": quote,
    "proof": proof,
    "pencil": pencil,
    "invoice": invoice,
    "part": lambda f, s: condemn(f, "PUMP", False, s),
    "module": lambda f, s: condemn(f, "ECM", True, s),
}
MM = 72 / 25.4


def read(paper: Paper) -> tuple[list[str], pypdfium2.PdfDocument]:
    file = pypdfium2.PdfDocument(pdf(paper))
    return [page.get_textpage().get_text_bounded().replace("\u200b", "") for page in file], file


def inside(paper: Paper) -> None:
    """Every letter within the margins."""
    _, file = read(paper)
    edge = (paper.size.margin_mm - 1.0) * MM
    for page in file:
        text = page.get_textpage()
        for k in range(text.count_chars()):
            left, bottom, right, top = text.get_charbox(k)
            if right > left and top > bottom:
                assert left >= edge and right <= page.get_width() - edge, text.get_text_range(k, 10)
                assert bottom >= 4 and top <= page.get_height() - 4


@pytest.mark.parametrize("size", [A4, LETTER])
@pytest.mark.parametrize("name", list(FULL))
def test_a_full_paper(name: str, size: Size) -> None:
    paper = FULL[name](JOB, size)
    texts, file = read(paper)
    assert "gate-17" in texts[0]
    assert file[0].get_width() == pytest.approx(size.width_mm * MM, abs=1)
    inside(paper)


def test_what_findings_must_say() -> None:
    text = " ".join(" ".join(read(findings(JOB, A4))[0]).split())
    for words in (
        "G2 resistance",
        "about 6.7 ohm",
        "Water from the overflow",
        "cleaned and greased G2",
        "the hose still drips",
        "X7 shares the place",
        "PUMP",
        "K4",
        "12.5 V",
        "0.15 V or less",
        "G2.1 resistance",
        "licensed practice",
    ):
        assert words in text, words
    unproven = " ".join(read(findings(replace(JOB, proven=False, cause=None), A4))[0])
    assert "NOT PROVEN" in unproven
    assert "has not been found" in unproven


def test_what_the_notice_must_say() -> None:
    """FACTS section 11: contents of a temporary-repair notice."""
    text = " ".join(" ".join(read(notice(JOB, A4))[0]).split())
    for words in (
        "Temporary",
        "BAT.+",
        "PUMP.in",
        "15 A fitted at battery holder. Do not exceed",
        "15 s after the key",
        "pull fuse J1",
        "12 mA",
        "74 Ah",
        "2026-12-24",
        "join W4 again",
        "the shop",
        "owner or driver",
        "No restraint, brake",
    ):
        assert words in text, words
    assert days(0.012, 74) == pytest.approx(0.5 * 74 / 0.012 / 24)
    touched = " ".join(" ".join(read(notice(JOB, A4, ("fuel pump run-stop",)))[0]).split())
    assert "No restraint, brake" not in touched
    assert "fuel pump run-stop" in touched


def test_a_feed_that_was_not_proved_is_never_called_good() -> None:
    bad = replace(
        HOLDS, verdict="undecided", why="nobody knows the wire", stays_on=(), lost=(), broken=("x: W9",)
    )
    f = replace(JOB, feeds=(bad,))
    for paper in (notice(f, A4), findings(f, A4), label(f, bad, "splice", LABELS["62x29"])):
        text = " ".join(" ".join(read(paper)[0]).split())
        assert "NOT PROVED" in text
        for claim in ("Everything still switches off", "No restraint, brake"):
            assert claim not in text


def test_the_battery_lasts_hours_or_days() -> None:
    """Half of 74 Ah at 5 A is gone after 7.4 h, at 30 mA after 51 days; longer is not promised."""
    for amps, words in (
        (5.0, "about 7 hours, no longer"),
        (0.03, "about 51 days"),
        (0.012, "about 90 days or more"),
    ):
        f = replace(JOB, feeds=(replace(HOLDS, drain_a=amps),))
        assert words in " ".join(" ".join(read(notice(f, A4))[0]).split())


def test_the_odometer_is_a_line_to_fill_in_or_what_was_told() -> None:
    for told, count in (("", 0), ("12 345 km", 1)):
        shown = plain(notice(replace(JOB, odometer=told, feeds=(HOLDS,)), A4))
        assert "Odometer or hours" in shown
        assert shown.count("12 345 km") == count


def test_no_notice_without_a_feed() -> None:
    with pytest.raises(InputError) as e:
        notice(replace(JOB, feeds=(REFUSED,)), A4)
    assert e.value.problems[0].code == "nothing-fitted"


def test_the_slip_is_half_a_sheet_and_names_three_ways() -> None:
    paper = slip(JOB, HALF["a4"])
    texts, file = read(paper)
    assert len(file) == 1
    text = " ".join(texts[0].split())
    for words in (
        "Proper repair",
        "Temporary, proved",
        "Left standing",
        "39.58 EUR",
        "What was asked, and refused",
    ):
        assert words in text, words
    inside(paper)
    none = " ".join(read(slip(replace(JOB, feeds=(REFUSED,)), HALF["a4"]))[0])
    assert "No temporary feed holds" in none


def test_each_way_of_the_slip_has_its_terms() -> None:
    """Minutes, the figure of eight in ten, price, what is lost, until when: of all three."""
    f = replace(
        JOB, found=(replace(JOB.found[0], repair_min=20.0),), proven=False, expected_min=30.0, p80_min=60.0,
        feeds=(HOLDS,), rate_per_hour=60.0, currency="EUR",
    )  # fmt: skip
    shown = slip(f, HALF["a4"])
    (columns,) = (b.columns for b in shown.blocks if isinstance(b, Columns))
    told = [" ".join(b.text for b in c if isinstance(b, Text)) for c in columns]
    # 20 by hand and 30 of looking; beyond them 0.4 x 20 and 60 - 30, as squares: 31.0 more
    assert "about 50 min; 8 times of 10 within 85 min" in told[0]
    assert "Price: 50.00 EUR; 8 times of 10 within 85.00 EUR" in told[0]
    fit = HOLDS.minutes or 0.0
    high = -(-fit * HANDS_80 // 5) * 5
    assert f"8 times of 10 within {high:.0f} min" in told[1]
    assert "no work and no price today" in told[2]
    for words in told:
        assert "What is lost: " in words
        assert "Until: " in words


def test_what_was_asked_for_and_refused_stands_on_the_slip() -> None:
    wish = Fitted("", "a larger fuse", "", "", "refused", "the wire would burn", asked_by="A. B.", asked=True)
    shown = plain(slip(replace(JOB, feeds=(wish,)), HALF["a4"]))
    assert "a larger fuse (A. B.): the wire would burn" in shown
    assert "No temporary feed has been judged." in shown


@pytest.mark.parametrize("size", [HALF["a4"], HALF["letter"]])
def test_the_slip_stays_on_its_half_sheet(size: Size) -> None:
    why = "after a night the controller is never woken and the pump stays dead until the battery was off " * 2
    asked = tuple(replace(REFUSED, name=f"J{n}", why=why) for n in range(9))
    repair = replace(JOB.found[0], repair="clean the metal, renew G2; " * 6)
    f = replace(JOB, feeds=(HOLDS, *asked), no_drive=(why,) * 5, found=(repair,))
    texts, file = read(slip(f, size))
    assert len(file) == 1
    assert "and 6 more: see the findings" in " ".join(texts[0].split())
    inside(slip(f, size))


@pytest.mark.parametrize("size", list(LABELS))
@pytest.mark.parametrize("where", ["splice", "fuse box", "plug"])
def test_labels_fit_their_roll(size: str, where: str) -> None:
    paper = label(JOB, HOLDS, where, LABELS[size])  # type: ignore[arg-type]
    texts, file = read(paper)
    assert len(file) == 1
    for words in ("TEMPORARY", "PUMP.in", "15 A", "gate-17", "2026-12-24"):
        assert words in texts[0].replace("\n", " "), (words, texts[0])
    inside(paper)


WORD = "Überlandleitungsprüfgerätehalterungsbefestigungsschraubensicherungsblech" * 3


@pytest.mark.parametrize("name", list(FULL))
def test_long_words_leave_no_column(name: str) -> None:
    long = replace(
        JOB,
        complaint=WORD,
        done=(WORD,),
        readings=(Reading(WORD, (WORD,)),) * 40,
        feeds=(replace(HOLDS, words=WORD, lost=(WORD,), a_place=WORD, until=WORD, stays_on=(WORD,)),),
        spent=(Spent(WORD, 9, ((WORD, 9),)),),
        used=(Used(WORD, 1e6, 1e6),),
        bill=Bill(WORD, WORD, WORD, WORD, None, 19.0, 1.0),
        to_read=((WORD, WORD, WORD, WORD),),
        neighbours=(WORD,),
        acceptance=(WORD,),
        left=(WORD,),
        vain=(WORD,),
        cause=WORD,
    )
    inside(FULL[name](long, A4))
    inside(slip(replace(long, vehicle=WORD, job="gate"), HALF["a4"]))


HOSTILE = '#panic("x") *bold* $x$ \\ <script>alert(1)</script> @ref {{ 7*7 }} [x]'


def test_text_of_people_is_never_markup() -> None:
    paper = findings(replace(JOB, complaint=HOSTILE, done=(HOSTILE,)), A4)
    text = " ".join(" ".join(read(paper)[0]).split())
    assert '#panic("x") *bold* $x$' in text
    assert "{{ 7*7 }}" in text
    page = html(paper)
    assert "<script" not in page
    assert "{{ 7*7 }}" in page


class Tags(HTMLParser):
    """Every tag closed in its order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("meta", "img", "br", "col"):
            self.open.append(tag)
        for name, value in attrs:
            assert not name.startswith("on")
            assert name != "src" or (value or "").startswith("data:image/svg+xml;base64,")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.mark.parametrize("name", list(FULL))
def test_html_is_whole_and_brings_everything(name: str) -> None:
    parser = Tags()
    page = html(FULL[name](JOB, A4))
    parser.feed(page)
    assert parser.open == []
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")


def test_the_same_facts_give_the_same_page() -> None:
    first, second = (read(findings(JOB, A4))[0] for _ in range(2))
    assert first == second
