"""What a card of a test shows: where the lead goes, what may be read, minutes."""

from __future__ import annotations

from amptrail.web import views


def test_where_a_lead_goes_names_the_ends_of_a_run_without_a_name() -> None:
    ask = {"where": "plug X1, cavity 1, 2.5 mm2 wire (K1.87>X1.1.a)", "reached": "from behind"}
    assert views.where(ask) == "plug X1, cavity 1, 2.5 mm2 wire (K1.87 to X1.1.a), from behind"


def test_single_figures_of_one_conclusion_are_one_span_and_minutes_are_whole() -> None:
    words = ("about 7.3 V", "6.4 V to 6.8 V", "about 5.9 V", "about 8.6 V")
    low = {w: float(w.removeprefix("about ").split()[0]) for w in words}
    outcomes = [
        {"words": w, "low": low[w], "leaves": [{"text": "G2 open", "probability": 1.0}]} for w in words
    ]
    ask = {"question": "Meter on G2.1", "first": [], "where": "", "reached": "", "lead": "", "after": []}
    t = {"line": "G2.1 meter {value}", "point": "G2.1", "instrument": "meter", "ask": ask, "cautions": [],
         "why": "separates G2 open from X7.5 open, 1.3 min", "outcomes": outcomes}  # fmt: skip
    same = {"words": "about 0 V", "low": 0.0}
    t["outcomes"] = [
        *outcomes,
        *({**same, "leaves": [{"text": x, "probability": 1.0}]} for x in ("KEY stuck off", "SW stuck off")),
    ]
    card = views.card(t)
    assert [o.words for o in card.outcomes] == ["6.4 V to 6.8 V or 5.9 V to 8.6 V", "about 0 V"]
    assert card.outcomes[1].leaves == ("KEY stuck off", "SW stuck off")  # what looks the same is one line
    assert card.why == "separates G2 open from X7.5 open, about 1 min"
