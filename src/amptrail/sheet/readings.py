"""The readings file: what was measured, seen, heard and exchanged, one line each."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Any

from lark import Token, Tree

from amptrail.circuit.model import Circuit, Point, Term, key
from amptrail.circuit.phases import drive_cycle, meant
from amptrail.circuit.supply import nominal_v
from amptrail.errors import InputError, Problem
from amptrail.sheet.contradictions import contradictions
from amptrail.sheet.feeds import parse_feed
from amptrail.sheet.hops import term, word
from amptrail.sheet.lexer import quantity
from amptrail.sheet.names import Names, function_points, wrong
from amptrail.sheet.oneline import tree_of
from amptrail.sheet.parse import lines_of
from amptrail.sheet.readers import reader_of
from amptrail.sheet.words import term_text
from amptrail.units import exact

_UNITS = {
    "meter": ("V",),
    "loaded": ("V",),
    "clamp": ("A",),
    "fuse-drop": ("V",),
    "ohmmeter": ("ohm",),
    "scope": ("V", "A"),
}
_STEADY = ("meter", "loaded", "fuse-drop")  # they show a mean: no kick of a winding
MOST_TIMES = 5.0  # of the vehicle's volts: an alternator without its battery stays below (common practice)
_AT_REST = ("ohmmeter", "eye", "hand")  # what is read with the battery off
_SHOWS_LIGHT = ("lamp", "led", "eye")  # of what is lit, how long it was is a reading
_TIME = "a time is told of a light: lamp lit 12 s then dark, or lamp lit > 70 s"
_UNSAID = {"meter": "V", "loaded": "V", "scope": "V", "fuse-drop": "V", "clamp": "A", "ohmmeter": "ohm"}
_WORDS = {
    "lamp": ("bright", "dim", "dark", "nothing", "alternates"),
    "led": ("bright", "dim", "dark", "nothing", "alternates"),
    "meter": ("nothing", "alternates"),
    "loaded": ("nothing", "alternates"),
    "clamp": ("nothing", "alternates"),
    "ohmmeter": ("beeps", "silent"),
    "scope": ("nothing", "alternates"),
    "fuse-drop": ("nothing",),
    "hand": ("hot", "warm", "cold", "nothing"),
    "eye": ("bright", "dim", "dark", "nothing"),
}


_BRIDGE = re.compile(r"\bfeed\s+(from\b[^,]*)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Conditions:
    """What was in force: plugs apart, fuses or relays out, switches held, feeds fitted (names)."""

    unplugged: tuple[str, ...] = ()
    pulled: tuple[str, ...] = ()  # fuses pulled, relays out
    on: tuple[str, ...] = ()
    off: tuple[str, ...] = ()
    feeds: tuple[str, ...] = ()  # names, or the words of a short feed
    replaced: tuple[str, ...] = ()  # a good part stands in for it


@dataclass(frozen=True, slots=True)
class Reading:
    """One line. `kind` reading: `instrument` at `a` to `b` (None: battery minus), in `phase`, gave `value`
    (SI), or `low`..`high`, or `word`, or `seconds`. kind works: `ok` of `tries` (None: not counted). kinds
    answers, looks, sounds, is, code, replaced, repaired, worked speak of the part `a.part` with `word`; moved
    says no more than whether it jumped when `moved` was moved;
    repaired with `a.name` of what touched metal at that point. kind my: what the reader's own `instrument`
    is, in `word`.
    """

    line: int
    text: str
    kind: str  # reading, works, answers, is, looks, sounds, code, moved, replaced, ...
    a: Term
    b: Term | None = None
    phase: str | None = None
    instrument: str | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    unit: str | None = None
    word: str | None = None
    seconds: float | None = None
    at_least: bool = False  # lit > 70 s
    other_lead: Term | None = None  # lamp from BAT.+
    lamp_w: float | None = None
    ok: int | None = None
    tries: int | None = None
    battery_v: float | None = None
    conditions: Conditions = Conditions()
    quality: tuple[str, ...] = ()  # unsure, fluctuates, intermittent, old
    while_failing: bool | None = None
    moved: str | None = None  # the part that was moved meanwhile, and whether it jumped then
    jumps: bool = False
    whose: str = "mine"
    point: str | None = None  # the named point it was written with
    by: str = ""  # who read it, where several people with their own instruments did


@dataclass(frozen=True, slots=True)
class Readings:
    """All readings of a file, in order, with the warnings they earned."""

    items: tuple[Reading, ...]
    warnings: tuple[Problem, ...] = ()


# SAE J2012: letter, 0 to 3, three hexadecimal digits
CODE = re.compile(r"[PCBU][0-3][0-9A-F]{3}", re.IGNORECASE)


class _Reader:
    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.names = Names(circuit)
        self.battery: float | None = None
        self.conditions = Conditions()
        self.warnings: list[Problem] = []
        self.points = {**function_points(circuit), **{key(p.name): p for p in circuit.points}}
        self.functions = {key(m.name): m.name for m in circuit.musts}
        self.number = 0
        self.phases = {key(p.name): p.name for p in drive_cycle(circuit)} | {"off": "off"}

    def line(self, tree: Tree[Any], number: int, text: str) -> Reading | None:
        k: Any = tree.children
        self.number = number
        match str(tree.data):
            case "r_battery":
                self.battery = self._volts(k[1])
            case "r_with":
                self._with(k, text)
            case "r_without":
                self.conditions = Conditions()
            case "r_replaced":
                return self._replaced(k[0], bool(k[2]), number, text)
            case "r_said_replaced":
                return replace(self._replaced(k[2], bool(k[4]), number, text), whose=str(k[0]).lower())
            case "r_repaired":
                return self._repaired(k[0], bool(k[2]), number, text)
            case "r_said_repaired":
                return replace(self._repaired(k[2], bool(k[4]), number, text), whose=str(k[0]).lower())
            case "r_worked":
                part = self.names.part(word(k[2])).name
                said = str(k[3])[1:-1] if k[3] is not None else None
                return Reading(number, text, "worked", Term(part, ""), word=said)
            case "r_my":
                tool, said = str(k[1]).lower().replace("_", "-"), str(k[2])[1:-1]
                return Reading(number, text, "my", Term("", ""), instrument=tool, word=said)
            case "r_code":
                at = Term(self.names.part(word(k[0])).name, "")
                code = word(k[2])
                if not CODE.fullmatch(str(code)):
                    raise wrong(code, "dtc", f"{code} is not a trouble code such as P0230",
                                remedy="write a letter P, C, B or U and four digits")  # fmt: skip
                base = Reading(number, text, "code", at, phase=self._phase(word(k[4])), word=str(code))
                return self._tails(self._standing(base), k[5:])
            case "r_said":
                return replace(self._observed(k[2], number, text), whose=str(k[0]).lower())
            case _:
                return self._observed(k[0], number, text)
        return None

    def _replaced(self, name: Any, in_vain: bool, number: int, text: str) -> Reading:
        part = self.names.part(word(name)).name
        return Reading(number, text, "replaced", Term(part, ""), word="no change" if in_vain else None)

    def _repaired(self, ref: Any, in_vain: bool, number: int, text: str) -> Reading:
        """A part mended, or what touched metal at one point of it."""
        if ref.children[0].data == "name":
            return replace(self._replaced(ref.children[0], in_vain, number, text), kind="repaired")
        at = term(self.names, ref, strict=True)
        return Reading(number, text, "repaired", at, word="no change" if in_vain else None)

    def _standing(self, r: Reading) -> Reading:
        return replace(r, battery_v=self.battery, conditions=self.conditions)

    def _unit(self, token: Token, unit: str | None) -> Token:
        """The figure with its unit; a bare number has that of its instrument, with a warning."""
        if token.type != "NUMBER":
            return token
        if unit is None:
            raise wrong(token, "no-unit", f"{token} has no unit",
                        remedy=f"write the unit after it, such as {token} s")  # fmt: skip
        self.warnings.append(
            Problem(
                "no-unit",
                f"{token} has no unit: taken as {unit}",
                self.number,
                token.column or 1,
                "warning",
                remedy=f"write {token} {unit}",
            )
        )
        return Token.new_borrow_pos("QTY", f"{token} {unit}", token)

    def _volts(self, figure: Any) -> float:
        token = self._unit(figure.children[0], "V")
        q = quantity(str(token))
        if q.dimension != "V" or not 0 <= q.si <= 60:
            raise wrong(
                token,
                "impossible",
                f"{token} is not the voltage of a battery",
                remedy="give volts from 0 to 60, such as battery 12.5 V",
            )
        return q.si

    def _phase(self, token: Token) -> str:
        based = meant(self.circuit, str(token))
        found = self.phases.get(key(str(token))) or (based[0].name if len(based) == 1 else None)
        if found is None:
            raise wrong(
                token,
                "unknown-phase",
                f"no phase is called {token}",
                known=tuple(self.phases.values()),
                remedy="use a phase of the sheet, or off for resistance readings",
            )
        return found

    def _with(self, k: Any, text: str) -> None:
        c = self.conditions
        for item in k:
            if not isinstance(item, Tree):
                continue
            kind, target = str(item.data).removeprefix("c_"), item.children
            if kind == "bridge":
                words = _BRIDGE.findall(text)[sum(f.startswith("from ") for f in c.feeds)]
                parse_feed(self.circuit, words)
                c = replace(c, feeds=(*c.feeds, words))
            elif kind == "feed":
                token: Any = word(target[1])
                feeds = {key(f.name): f.name for f in self.circuit.feeds}
                if key(str(token)) not in feeds:
                    raise wrong(
                        token,
                        "unknown-feed",
                        f"no feed is called {token}",
                        known=tuple(feeds.values()),
                        remedy="declare it in the sheet: feed NAME: from A to B",
                    )
                c = replace(c, feeds=(*c.feeds, feeds[key(str(token))]))
            else:
                at = term(self.names, target[0])
                name = str(at) if at.name and at.part else at.part or at.name
                c = replace(c, **{kind: (*getattr(c, kind), name)})
        self.conditions = c

    def _subject(self, ref: Any, tree: Any) -> tuple[Term, Point | None]:
        node, seen = ref.children[0], str(tree.data)
        function = self.functions.get(key(str(word(node)))) if node.data == "name" else None
        if function is not None and seen in ("s_works", "s_not_work", "s_jumps", "s_stays"):
            return Term("", function), None
        if node.data == "name" and _of_part(tree) and key(str(word(node))) in self.names.parts:
            amps = self.points.get(key(str(word(node))))
            if amps is None or amps.what != "amps":
                return self.names.bare(word(node), part_first=True), None
        if node.data == "name" and key(str(word(node))) in self.points:
            point = self.points[key(str(word(node)))]
            whole = point.what == "volts" and point.b is not None and point.b.part == point.a.part
            if whole and seen == "s_instrument" and _of_part(tree) and point not in self.circuit.points:
                return Term(point.a.part, ""), None  # the current of a function is that of its part
            return point.a, point
        if function is not None and key(function) not in self.names.parts:
            raise wrong(word(node), "a-function", f"{function} is a function without a point of its own",
                        remedy=f"write `{function} in PHASE works` or `does not work`")  # fmt: skip
        return term(self.names, ref, strict=True), None

    def _observed(self, tree: Any, number: int, text: str) -> Reading:
        subject, _, phase, seen, *tails = tree.children
        a, point = self._subject(subject.children[0], seen)
        b = term(self.names, subject.children[2], strict=True) if subject.children[2] is not None else None
        if point is not None and b is None:
            b = point.b
        base = Reading(
            number, text, "reading", a, b, self._phase(word(phase)), point=point.name if point else None
        )
        return self._tails(self._seen(self._standing(base), seen), tails)

    def _tails(self, r: Reading, tails: Any) -> Reading:
        for t in tails:
            k = t.children
            match str(t.data):
                case "t_battery":
                    r = replace(r, battery_v=self._volts(k[1]))
                case "t_quality":
                    r = replace(r, quality=(*r.quality, str(k[0]).lower()))
                case "t_jumps" | "t_stays":
                    r = replace(r, moved=self.names.part(word(k[2])).name, jumps=str(t.data) == "t_jumps")
                case _:
                    r = replace(r, while_failing=str(t.data) == "t_failing")
        return r

    def _seen(self, r: Reading, tree: Any) -> Reading:
        k = tree.children
        match str(tree.data):
            case "s_instrument":
                return self._measured(r, k[0], k[1:])
            case "s_works":
                return self._works(r, k[1])
            case "s_not_work":
                return replace(r, kind="works", word="no")
            case "s_answers":
                return replace(r, kind="answers", word="yes")
            case "s_not_answer":
                return replace(r, kind="answers", word="no")
            case "s_clicks":
                return replace(r, kind="sounds", word="clicks")
            case "s_not_click":
                return replace(r, kind="sounds", word="silent")
            case "s_blows":
                return replace(r, seconds=quantity(str(k[2])).si, word="blows")
            case "s_jumps" | "s_stays":
                part, jumps = self.names.part(word(k[2])).name, str(tree.data) == "s_jumps"
                return replace(r, kind="moved", moved=part, jumps=jumps)
            case other:
                return replace(r, kind=other.removeprefix("s_"), word=str(word(k[1])).lower())

    def _works(self, r: Reading, count: Any) -> Reading:
        if count is None:
            return replace(r, kind="works", word="yes")
        ok, tries = int(count.children[0]), int(count.children[2])
        if not 0 <= ok <= tries or tries == 0:
            raise wrong(
                count.children[0],
                "impossible",
                f"{ok} of {tries} cannot be",
                remedy="write how often it worked, of how many tries",
            )
        return replace(r, kind="works", word="yes" if ok else "no", ok=ok, tries=tries)

    def _measured(self, r: Reading, tool: Token, items: Any) -> Reading:
        instrument = str(tool).lower().replace("_", "-")
        r = replace(r, instrument=instrument)
        for item in items:
            before, r = r.word, self._item(r, instrument, item)
            if before is not None and r.word != before:
                raise wrong(item.children[0], "two-words", f"{before} and {r.word}: which of the two?",
                            remedy="write one of them; say how it changes with `fluctuates`")  # fmt: skip
        if r.value is None and r.low is None and r.word is None and r.seconds is None:
            raise wrong(
                tool, "no-value", f"what did the {instrument} show?", remedy="write the value after it"
            )
        self._at_rest(r, instrument, tool)
        self._reachable(r, tool)
        return r

    def _at_rest(self, r: Reading, instrument: str, token: Token) -> None:
        """Volts and amps need the battery, ohms need it away."""
        real = tuple(p.name for p in drive_cycle(self.circuit))
        if r.phase == "off" and "off" not in map(key, real) and instrument not in _AT_REST:
            raise wrong(token, "off", f"a {instrument} reads nothing with the battery off", known=real,
                        remedy="write the phase it was read in; off is for ohms and for looks")  # fmt: skip
        if r.phase != "off" and instrument == "ohmmeter":
            said = f"an ohmmeter on live circuits is no reading: taken as read in off, not in {r.phase}"
            remedy = "take the battery off, read again, and write: in off"
            self.warnings.append(Problem("ohms-live", said, r.line, token.column or 1, "warning",
                                         remedy=remedy))  # fmt: skip

    def _item(self, r: Reading, instrument: str, item: Any) -> Reading:
        k = item.children
        match str(item.data):
            case "i_qty":
                token = self._unit(k[0], _UNSAID.get(instrument))
                q = quantity(str(token))
                if instrument == "lamp" and q.dimension == "W":
                    return replace(r, lamp_w=q.si)
                return replace(r, value=self._figure(instrument, token), unit=q.dimension)
            case "i_to":
                high = self._figure(instrument, self._unit(k[1].children[0], r.unit))
                low = min(r.value if r.value is not None else 0.0, high)
                return replace(r, low=low, high=max(r.value or 0.0, high), value=None)
            case "i_from":
                return replace(r, other_lead=term(self.names, k[1], strict=True))
            case "i_over":
                return replace(r, word="over range")
            case "i_same":
                return replace(r, word="same as battery")
            case "i_lit":
                if instrument not in _SHOWS_LIGHT:
                    raise wrong(k[0], "wrong-word", f"a {instrument} is not lit", remedy=_TIME)
                word_ = "lit then dark" if k[3] is not None else "lit"
                return replace(r, seconds=quantity(str(k[2])).si, at_least=k[1] is not None, word=word_)
            case "i_blows":
                return replace(r, seconds=quantity(str(k[2])).si, word="blows")
            case _:
                return replace(r, word=self._word(instrument, k[0]))

    def _word(self, instrument: str, token: Token) -> str:
        said, known = str(token).lower(), _WORDS[instrument]
        if said not in known:
            raise wrong(
                token,
                "wrong-word",
                f"a {instrument} does not show {said}",
                known=known,
                remedy="use one of these words, or a number with its unit",
            )
        return said

    def _figure(self, instrument: str, token: Token) -> float:
        q, units = quantity(str(token)), _UNITS.get(instrument, ())
        if q.dimension not in units:
            raise wrong(
                token,
                "wrong-unit",
                f"a {instrument} does not read {token}",
                known=units,
                remedy=_TIME if q.dimension == "s" else f"give a figure in {' or '.join(units) or 'words'}",
            )
        most = {"V": 1000.0, "A": 10_000.0}.get(q.dimension, float("inf"))
        if abs(q.si) > most or (q.dimension in ("ohm", "s") and q.si < 0):
            raise wrong(token, "impossible", f"{token} cannot be", remedy="check the sign and the unit")
        if q.dimension == "V" and instrument in _STEADY:
            self._of_this_vehicle(q.si, token)
        return q.si

    def _of_this_vehicle(self, volts: float, token: Token) -> None:
        """Refuse steady volts that nothing here gives; a scope may well see a winding kick as high."""
        usual = nominal_v(self.circuit)
        if abs(volts) <= MOST_TIMES * usual:
            return
        shifted = [volts / tens for tens in (10.0, 100.0, 1000.0) if abs(volts) / tens <= 1.5 * usual]
        near = exact(float(f"{shifted[0]:.12g}"), "V") if shifted else None
        said = f"{token} is more than the batteries, a charger or an alternator of {usual:g} V give"
        remedy = "check the decimal point, the unit and the point; a scope may read the kick of a winding"
        column = token.column or 1
        raise InputError((Problem("impossible", said, self.number, column, nearest=near, remedy=remedy),))

    def _reachable(self, r: Reading, token: Token) -> None:
        part = self.names.parts.get(key(r.a.part))
        out = {key(p.partition(".")[0]) for p in (*self.conditions.pulled, *self.conditions.unplugged)}
        if (
            part is not None
            and part.kind == "relay"
            and r.instrument != "clamp"
            and key(part.name) not in out
            and not any(key(x.at.part) == key(part.name) for x in self.circuit.reaches)
        ):
            self.warnings.append(
                Problem(
                    "under-the-relay",
                    f"{term_text(r.a)} is under a fitted relay",
                    r.line,
                    token.column or 1,
                    "warning",
                    remedy=f"if the relay was out, say so on a line before: with {part.name} out; "
                    f"if it can be touched with the relay in, say so on the sheet: reach {r.a} bolt",
                )
            )


def _of_part(seen: Any) -> bool:
    """Whether what was seen is of a part, not of a metal: a current, millivolts of a fuse, heat, a word."""
    if str(seen.data) != "s_instrument":
        return True
    return str(seen.children[0]).lower().replace("_", "-") in ("clamp", "fuse-drop", "hand", "eye")


def parse_readings(circuit: Circuit, text: str) -> Readings:
    """The readings of a file; InputError with every error, warnings kept in the result."""
    reader, items, problems = _Reader(circuit), [], []
    for number, raw in enumerate(lines_of(text, "readings"), 1):
        plain, by = reader_of(raw)
        line = plain.split("#", 1)[0].strip()
        if not line:
            continue
        try:
            got = reader.line(tree_of(plain, "reading", number), number, line)
        except InputError as e:
            problems += [replace(p, line=number) for p in e.problems]
            continue
        if got is not None:
            items.append(replace(got, by=by) if by else got)
    if problems:
        raise InputError(tuple(replace(p, message=f"readings: {p.message}") for p in problems))
    warnings = sorted((*reader.warnings, *contradictions(items)), key=lambda p: (p.line, p.column))
    return Readings(tuple(items), tuple(warnings))
