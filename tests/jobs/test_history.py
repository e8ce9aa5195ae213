"""What proven jobs teach: conjugate counts, visible, reversible, and never in an answer nobody asked for."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from amptrail.cli.main import main
from amptrail.faults import catalogue
from amptrail.jobs.evidence.beforehand import beforehand, singles
from amptrail.jobs.evidence.history import NONE, STRENGTH, History, Learned, factor_of, kind_of, learn, taught
from amptrail.sheet import parse, parse_fault

ROOT = Path(__file__).parents[2]
SPRAYER = (ROOT / "demos" / "sprayer.sheet").read_text()
CIRCUIT = parse(SPRAYER)


def test_the_factor_is_the_mean_of_a_gamma_poisson() -> None:
    # the posterior worked out by plain integration with scipy's gamma and Poisson, not by the formula
    for count, expected in ((0.0, 0.4), (3.0, 1.2), (7.0, 9.5)):
        rate = np.linspace(1e-6, 40.0, 400_001)
        density = stats.gamma.pdf(rate, STRENGTH, scale=1 / STRENGTH) * stats.poisson.pmf(
            count, rate * expected
        )
        mean = float((rate * density).sum() / density.sum())
        assert Learned("kind", "x", count, expected).factor == pytest.approx(mean, rel=1e-4)


def test_expected_counts_add_up_to_the_jobs() -> None:
    one = taught("a", CIRCUIT, parse_fault(CIRCUIT, "G2 resistance 2 ohm"))
    assert one is not None
    assert sum(x for _, _, x in one.expected) == pytest.approx(1)
    h = learn([one, one, one])
    for what in ("kind", "place"):
        mine = [x for x in h.learned if x.what == what]
        assert sum(x.expected for x in mine) == pytest.approx(3)
        assert sum(x.count for x in mine) == pytest.approx(3)
    assert h.factor("kind", "ground, joints and wires") > 1.5
    assert h.factor("kind", "relay, contacts") < 1


def test_jobs_as_the_priors_have_them_teach_nothing() -> None:
    every = [c for c in catalogue(CIRCUIT) if len(c.faults) == 1]
    prior = np.asarray([c.prior for c in every])
    rng = np.random.default_rng(3)
    drawn = rng.choice(len(every), size=600, p=prior / prior.sum())
    jobs = [t for n in drawn if (t := taught(f"j{n}", CIRCUIT, every[n].faults)) is not None]
    kinds = [x for x in learn(jobs).learned if x.what == "kind" and x.expected > 15]
    assert len(kinds) >= 5
    for x in kinds:  # within four standard errors of a Poisson count
        assert abs(x.factor - 1) < 4 / np.sqrt(x.expected), x


def test_priors_move_by_the_factor_and_still_add_up() -> None:
    one = taught("a", CIRCUIT, parse_fault(CIRCUIT, "G2 resistance 2 ohm"))
    assert one is not None
    h = learn([one] * 4)
    plain, moved = singles(CIRCUIT), beforehand(CIRCUIT, (), h)
    assert sum(s.prior for s in moved) == pytest.approx(sum(s.prior for s in plain))
    first = next(i for i, s in enumerate(plain) if s.key == "G2:resistance")
    other = next(i for i, s in enumerate(plain) if s.key == "K4:stuck_off")
    ratio = (moved[first].prior / moved[other].prior) / (plain[first].prior / plain[other].prior)
    cause = [plain[i].causes[0] for i in (first, other)]
    assert ratio == pytest.approx(factor_of(h, CIRCUIT, cause[0]) / factor_of(h, CIRCUIT, cause[1]))
    assert moved[first].causes[0].prior == pytest.approx(moved[first].prior)  # pairs take it from the cause
    assert beforehand(CIRCUIT, (), NONE) == plain
    assert kind_of(CIRCUIT, cause[0]) == "ground, joints and wires"


def test_what_the_sheet_cannot_have_teaches_nothing_there() -> None:
    lamp = parse((ROOT / "demos" / "first" / "lamp.sheet").read_text())
    h = History(("a",), (Learned("kind", "relay, contacts", 9, 1.0),))
    assert all(factor_of(h, lamp, c) == 1 for c in catalogue(lamp))


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    monkeypatch.setenv("AMPTRAIL_HOME", str(tmp_path))
    monkeypatch.chdir(ROOT / "demos")

    def call(line: str, as_json: bool = True) -> Any:
        main([*shlex.split(line), *(["--json"] if as_json else [])])
        out = capsys.readouterr().out
        return json.loads(out) if as_json else out

    return call


def test_only_closed_jobs_with_a_proven_cause_count_and_all_can_be_taken_back(shop: Any) -> None:
    assert shop("history")["jobs"] == []
    for name in ("a", "b", "c"):
        shop(f"job new {name} sprayer.sheet")
    shop('job conclude a "G2 resistance" --cause water')
    shop("job close b")  # closed, but nothing proven
    assert shop("history")["jobs"] == []  # proven, but not closed
    shop("job close a")
    got = shop("history")
    assert got["jobs"] == ["a"]
    assert got["learned"][0]["words"].startswith("your one proven job: ground, joints and wires (")
    shop("job set a history=no")
    out = shop("history")
    assert (out["jobs"], out["left_out"]) == ([], ["a"])
    shop("job set a history=yes")
    assert shop("history")["jobs"] == ["a"]
    shop('job conclude a "PUMP open"')  # found to be something else: open again until it is closed
    assert shop("history")["jobs"] == []
    shop("job close a")
    assert shop("history")["learned"][0]["name"] == "motor, rest"


def test_answers_for_scripts_do_not_depend_on_the_folder(shop: Any) -> None:
    before = shop("suspects sprayer.sheet sprayer.readings --doubles off")
    shop("job new a sprayer.sheet")
    shop('job conclude a "X7.5 resistance"')
    shop("job close a")
    assert shop("suspects sprayer.sheet sprayer.readings --doubles off") == before
    asked = shop("suspects sprayer.sheet sprayer.readings --doubles off --history")
    assert asked["raised"] and asked["suspects"] != before["suspects"]
    screen = shop("suspects sprayer.sheet sprayer.readings --doubles off", as_json=False)
    assert "your one proven job" in " ".join(screen.split())
    assert "beforehand" not in shop(
        "suspects sprayer.sheet sprayer.readings --doubles off --no-history", as_json=False
    )


def test_a_comeback_suspects_what_was_repaired(shop: Any) -> None:
    shop("job new a sprayer.sheet")
    shop('job conclude a "G2 resistance"')
    shop("job close a")
    got = shop("job again a b")
    assert [r["line"] for r in got["state"]["readings"]] == [
        'worked on G2 "repaired in job a: G2 resistance"'
    ]
    raised = shop("suspects b --doubles off")["raised"]
    assert (raised[0]["name"], raised[0]["factor"]) == ("G2", 5.0)
