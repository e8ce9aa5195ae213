"""A proof as read: every field of the right kind, or an InputError that says which is not."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from amptrail.errors import InputError, one

MOST_CHARS = 60_000_000
STATE = ("relays_energised", "modules_awake", "modules_alive", "signals_true", "drivers_on",
         "drivers_tripped", "fuses_open", "charging")  # fmt: skip
STATUSES = ("settled", "race", "chatter")
PURPOSES = ("try", "home", "leave")
State = Mapping[str, frozenset[str]]


class RejectedError(Exception):
    """The proof is no proof: where and why."""

    def __init__(self, reason: str, step: str | None = None) -> None:
        super().__init__(reason)
        self.reason, self.step = reason, step


@dataclass(frozen=True, slots=True)
class Point:
    """One operating point: V of every metal, A of every branch that carries any. `low`, `high`, `buzzing`
    only where it never comes to rest."""

    state: State
    volts: Mapping[str, float]
    amps: Mapping[str, float]
    low: Mapping[str, float]
    high: Mapping[str, float]
    buzzing: frozenset[str]


@dataclass(frozen=True, slots=True)
class Step:
    """The end of one phase. `pass_no` 0: before the first whole cycle; `fit`: the second after fitting;
    `turning`: the key as in that phase, the engine still turning."""

    pass_no: int
    fit: bool
    phase: str
    t_s: float
    status: str
    point: Point
    turning: bool = False


@dataclass(frozen=True, slots=True)
class StoryKey:
    """What is lived through: vehicle, corner, start, and what is held open or altered."""

    corner: str
    vehicle: str
    start: str
    held: str | None = None
    extra: str | None = None

    def __str__(self) -> str:
        more = [f"{self.held} held open"] if self.held else []
        more += [self.extra] if self.extra else []
        return ", ".join([self.corner, self.vehicle, self.start, *more])


@dataclass(frozen=True, slots=True)
class Margin:
    """The closest figure of one rule, as the proof tells it."""

    start: str
    phase: str
    part: str
    figure: float
    limit: float
    margin: float


@dataclass(frozen=True)
class Proof:
    sheet_sha256: str
    feed: tuple[str, ...]
    against: str | None
    purpose: str
    laws: str
    rules: tuple[str, ...]
    starts: tuple[str, ...]
    corners: dict[str, dict[str, float]]
    phases: tuple[str, ...]
    stories: dict[StoryKey, tuple[Step, ...]]
    margins: dict[str, Margin]
    true_only_if: tuple[str, ...]


def bad(where: str, expected: str) -> InputError:
    """What a proof has in the wrong place."""
    return one("bad-proof", f"the proof is damaged at {where}", expected=(expected,),
               remedy="write it again: amptrail feed SHEET --feed TEXT --prove FILE")  # fmt: skip


def _text(x: Any, where: str) -> str:
    if not isinstance(x, str) or len(x) > 10_000:
        raise bad(where, "a text")
    return x


def _maybe(x: Any, where: str) -> str | None:
    return None if x is None else _text(x, where)


def _number(x: Any, where: str) -> float:
    if isinstance(x, bool) or not isinstance(x, (int, float)) or abs(x) > 1e300 or not math.isfinite(x):
        raise bad(where, "a number")
    return float(x)


def _whole(x: Any, where: str) -> int:
    if isinstance(x, bool) or not isinstance(x, int):
        raise bad(where, "a whole number")
    return x


def _list(x: Any, where: str) -> list[Any]:
    if not isinstance(x, list):
        raise bad(where, "a list")
    return x


def _map(x: Any, where: str) -> dict[str, Any]:
    if not isinstance(x, dict):
        raise bad(where, "an object")
    return x


def _field(x: dict[str, Any], name: str, kind: Callable[[Any, str], Any], where: str = "") -> Any:
    place = f"{where}{name}"
    if name not in x:
        raise bad(place, f"the field {name}")
    return kind(x[name], place)


def _texts(x: Any, where: str) -> tuple[str, ...]:
    return tuple(_text(v, f"{where}[{n}]") for n, v in enumerate(_list(x, where)))


def _numbers(x: Any, where: str) -> dict[str, float]:
    return {k: _number(v, f"{where}.{k}") for k, v in _map(x, where).items()}


def _point(x: Any, where: str) -> Point:
    m = _map(x, where)
    state = _field(m, "state", _map, f"{where}.")
    words = {w: frozenset(_field(state, w, _texts, f"{where}.state.")) for w in STATE}
    return Point(
        words,
        _field(m, "volts", _numbers, f"{where}."),
        _field(m, "amps", _numbers, f"{where}."),
        _numbers(m.get("low", {}), f"{where}.low"),
        _numbers(m.get("high", {}), f"{where}.high"),
        frozenset(_texts(m.get("buzzing", []), f"{where}.buzzing")),
    )


def _step(x: Any, where: str, points: list[Point]) -> Step:
    m, dot = _map(x, where), f"{where}."
    n = _field(m, "point", _whole, dot)
    if not 0 <= n < len(points):
        raise bad(f"{where}.point", f"a number from 0 to {len(points) - 1}")
    status = _field(m, "status", _text, dot)
    if status not in STATUSES:
        raise bad(f"{where}.status", " or ".join(STATUSES))
    if not isinstance(m.get("fit"), bool):
        raise bad(f"{where}.fit", "true or false")
    if not isinstance(m.get("turning"), bool):
        raise bad(f"{where}.turning", "true or false")
    return Step(
        _field(m, "pass", _whole, dot),
        m["fit"],
        _field(m, "phase", _text, dot),
        _field(m, "t_s", _number, dot),
        status,
        points[n],
        m["turning"],
    )


def _story(x: Any, where: str, points: list[Point]) -> tuple[StoryKey, tuple[Step, ...]]:
    m, dot = _map(x, where), f"{where}."
    name = StoryKey(
        _field(m, "corner", _text, dot),
        _field(m, "vehicle", _text, dot),
        _field(m, "start", _text, dot),
        _field(m, "held", _maybe, dot),
        _field(m, "extra", _maybe, dot),
    )
    steps = _field(m, "steps", _list, dot)
    return name, tuple(_step(s, f"{where}.steps[{n}]", points) for n, s in enumerate(steps))


def _margin(x: Any, where: str) -> Margin:
    m, dot = _map(x, where), f"{where}."
    texts = [_field(m, w, _text, dot) for w in ("start", "phase", "part")]
    return Margin(*texts, *(_field(m, w, _number, dot) for w in ("figure", "limit", "margin")))


def _json(text: str) -> Any:
    if len(text) > MOST_CHARS:
        raise one("too-large", f"a proof has at most {MOST_CHARS} characters, this has {len(text)}",
                  remedy="is this the right file?")  # fmt: skip

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            raise bad("a field told twice", "every field once")
        return found

    try:
        return json.loads(text, object_pairs_hook=once)
    except json.JSONDecodeError as e:
        raise one("not-json", f"the proof is no JSON: {e.msg}", line=e.lineno, column=e.colno,
                  remedy="name the file that `amptrail feed --prove FILE` wrote") from e  # fmt: skip
    except (RecursionError, ValueError) as e:
        raise bad("its nesting or a number", "an object as `amptrail feed --prove` writes it") from e


def read(text: str) -> Proof:
    """A proof from its text; InputError where it is none."""
    m = _json(text)
    if not isinstance(m, dict) or m.get("amptrail_proof") != 1 or isinstance(m["amptrail_proof"], bool):
        raise one("not-a-proof", "this is no proof of a feed", expected=('"amptrail_proof": 1',),
                  remedy="name the file that `amptrail feed --prove FILE` wrote")  # fmt: skip
    if m.get("verdict") != "holds":
        raise bad("verdict", "holds")
    purpose = _field(m, "purpose", _text)
    if purpose not in PURPOSES:
        raise bad("purpose", " or ".join(PURPOSES))
    points = [_point(p, f"points[{n}]") for n, p in enumerate(_field(m, "points", _list))]
    corners: dict[str, dict[str, float]] = {}
    for n, c in enumerate(_field(m, "corners", _list)):
        where = f"corners[{n}]."
        corner = _map(c, where)
        corners[_field(corner, "name", _text, where)] = _field(corner, "values", _numbers, where)
    stories: dict[StoryKey, tuple[Step, ...]] = {}
    for n, s in enumerate(_field(m, "stories", _list)):
        name, steps = _story(s, f"stories[{n}]", points)
        if name in stories:
            raise bad(f"stories[{n}]", "every story once")
        stories[name] = steps
    margins = _field(m, "margins", _map)
    return Proof(
        _field(m, "sheet_sha256", _text),
        _field(m, "feed", _texts),
        _field(m, "against", _maybe),
        purpose,
        _field(m, "laws", _text),
        _field(m, "rules", _texts),
        _field(m, "starts", _texts),
        corners,
        _field(m, "phases", _texts),
        stories,
        {k: _margin(v, f"margins.{k}") for k, v in margins.items()},
        _field(m, "true_only_if", _texts),
    )
