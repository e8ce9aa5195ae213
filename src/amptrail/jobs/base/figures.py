"""Figures with their units, and probabilities, as a person reads them: on the terminal and on the pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

NOTHING = 5e-5  # V or A: half of the last digit shown
LARGE_AT_REST_A, DAYS_FROM_H = 9.9995, 72.0


def figure(value: float | None, unit: str) -> str:
    """Volts and amps in the size that reads well; ohms with two decimals; other units as they are."""
    if value is None:
        return "-"
    if unit in ("V", "A") and abs(value) < NOTHING:
        return f"0 {unit}"
    if unit == "V":
        return f"{value * 1000:z.1f} mV" if abs(value) < 0.1 else f"{value:z.2f} V"
    if unit == "A":
        return f"{value * 1000:z.1f} mA" if abs(value) < 1 else f"{value:z.2f} A"
    if unit != "ohm":
        return f"{value:.3g} {unit}"
    return f"{value / 1000:z.2f} kohm" if abs(value) >= 1000 else f"{value:z.2f} ohm"


def at_rest(amps: float | None) -> str:
    """What flows at rest: whole milliamps up to 10 A."""
    if amps is None:
        return "-"
    return f"{amps:.1f} A" if abs(amps) >= LARGE_AT_REST_A else f"{amps * 1000:z.0f} mA"


ALONE_H = 90 * 24.0  # a lead battery left alone loses about a twentieth a month: common practice


def until(hours: tuple[float, float]) -> str:
    """A span of time, in days when it is long."""
    low_h, high_h = sorted(hours)
    if low_h > ALONE_H:
        return "several months, and by then it is flat by itself"
    unit, per = ("hours", 1.0) if high_h < DAYS_FROM_H else ("days", 24.0)
    low, high = f"{low_h / per:.0f}", f"{high_h / per:.0f}"
    return f"{low} {unit}" if low == high else f"{low} to {high} {unit}"


SURE = ((0.95, "almost certain"), (0.5, "likely"), (0.1, "possible"), (0.0, "unlikely, not ruled out"))


def how_sure(probability: float) -> str:
    """A probability in words (JOB.md: no decimals at the vehicle)."""
    return next(words for least, words in SURE if probability >= least)


def ohms(value: float) -> str:
    """Ohms to two figures: a meter at the vehicle shows no more that matters."""
    rounded = float(f"{value:.2g}")
    return f"{rounded / 1000:g} kohm" if rounded >= 1000 else f"{rounded:g} ohm"


QUARTER_MIN, STEP_MIN = 15.0, 5.0


def repair_min(minutes: float) -> float:
    """Minutes of a repair as every screen and paper tells them: up to five from a quarter of an hour on, for
    finer would be false precision."""
    return minutes if minutes < QUARTER_MIN else -(-minutes // STEP_MIN) * STEP_MIN


WAIT = "It comes and goes: leads on first, then try until it fails, and read while it fails"
RARE = 0.02  # an outcome that comes less often is left out
WORTH_NAMING = 0.1  # of the likeliest, from which a second cause is named beside it


def spans(outcomes: Sequence[dict[str, Any]]) -> list[str]:
    """Words of outcomes with one conclusion. Single figures are samples of a range of ohms, and any figure
    between them is as good: `about 11 V` and `about 23 V` are told as `11 V to 23 V`."""
    points = sorted((o for o in outcomes if o["words"].startswith("about ")), key=lambda o: o["low"] or 0.0)
    if len(points) < 2:
        return list(dict.fromkeys(o["words"] for o in outcomes))
    ends = dict.fromkeys(o["words"].removeprefix("about ") for o in (points[0], points[-1]))
    told = " to ".join(ends) if len(ends) > 1 else points[0]["words"]
    return [*dict.fromkeys(o["words"] for o in outcomes if o not in points), told]


def left_by(outcome: dict[str, Any]) -> list[str]:
    """What an outcome leaves, at most two causes: a second that is far less likely than the first is none."""
    leaves = outcome["leaves"][:2]
    worth = [x for x in leaves if x["probability"] >= WORTH_NAMING * leaves[0]["probability"]]
    return list(dict.fromkeys(x["text"] for x in worth))


def drawing_words(drawings: Sequence[dict[str, Any]], name: str) -> str:
    """A drawing as it is spoken of: the first is the sheet itself."""
    return name if drawings and name == drawings[0]["name"] else f"by variant {name}"


def built(drawings: Sequence[dict[str, Any]]) -> str:
    """By which of several drawings the vehicle may be built; empty where there is one."""
    told = [f"{drawing_words(drawings, d['name'])}: {how_sure(d['probability'])}" for d in drawings]
    return f"Built {'; '.join(told)}." if told else ""


def tell_apart(drawings: Sequence[dict[str, Any]], test: dict[str, Any]) -> list[str]:
    """What each outcome of the test that tells them apart leaves of the drawings."""
    out = []
    for o in test["outcomes"]:
        if o["probability"] > RARE:
            left = max(o["drawings"], key=lambda d: float(d["probability"]))
            sure = how_sure(left["probability"])
            out.append(f"{o['words']} → {drawing_words(drawings, left['name'])} ({sure})")
    return out
