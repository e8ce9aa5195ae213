"""A test as a person at the vehicle is asked for it: a question, what to do first, where the point is.

One fixed grammar, so that whoever reads only these words can do the test and nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from amptrail.circuit.model import Circuit, Part, Phase, Term, key
from amptrail.circuit.phases import closed, drive_cycle, meant, position
from amptrail.circuit.tables import value
from amptrail.jobs.evidence.words import asked_of

Json = dict[str, Any]

STATE = {
    "asleep": "locked and asleep", "awake": "unlocked, key off", "ignition-on": "key on, engine off",
    "off": "battery off", "cranking": "cranking", "running": "engine running",
    "after-run": "just switched off",
}  # fmt: skip
REACHED = {
    "post": "on the post", "fuse-top": "on the tab on top of the fuse", "bolt": "on the bolt",
    "socket": "in the empty socket", "back-probe": "from the back of the plug", "open-plug": "plug parted",
    "pierce": "through the insulation: seal it again",
}  # fmt: skip
MEASURES = {
    "meter": "Meter on {at}", "lamp": "Test lamp on {at}", "led": "LED tester on {at}",
    "loaded": "Loaded lead on {at}", "clamp": "Clamp round the lead of {at}",
    "fuse-drop": "Millivolts across {at}", "ohmmeter": "Ohmmeter on {at}", "scope": "Scope on {at}",
}  # fmt: skip
LEADS = {"meter": "black lead", "lamp": "its clip", "led": "its clip", "loaded": "its other end",
         "ohmmeter": "other lead", "scope": "its clip"}  # fmt: skip
FIRST = {"unplugged": "part plug", "pulled": "pull fuse", "out": "take out relay",
         "replaced": "put a good one in for", "on": "switch on", "off": "switch off"}  # fmt: skip
AFTER = {"unplugged": "plug together again", "pulled": "put the fuse back", "out": "put the relay back",
         "replaced": "put the old one back unless it was the fault"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asking:
    """`question`: what to do or look at; `first`: before it, each a short order; `where`: the plug, cavity
    and wire; `reached`: how the tip gets there; `lead`: where the other lead goes; `after`: what to undo."""

    question: str
    first: tuple[str, ...] = ()
    where: str = ""
    reached: str = ""
    lead: str = ""
    after: tuple[str, ...] = ()


def state_words(circuit: Circuit, phase: Phase) -> str:
    """What a phase asks of the person: the engine and key, and every switch that is not at rest."""
    at = dict(phase.at)
    held = []
    for p in circuit.parts:
        positions = value(p, "positions") if p.kind == "switch" else None
        if p.kind == "switch" and isinstance(positions, tuple) and p.name in at:
            held.append(f"{p.name} at {position(circuit, p.name, positions, phase)}")
        elif p.kind == "switch" and not isinstance(positions, tuple) and closed(circuit, p, phase):
            held.append(f"{p.name} closed")
    return ", ".join((STATE[phase.base], *held))


def _neighbours(circuit: Circuit, term: Term) -> Iterator[str]:
    """Parts joined to this terminal in the paths."""
    for path in circuit.paths:
        for i, hop in enumerate(path.hops):
            if key(hop.part) != key(term.part):
                continue
            if key(hop.b) == key(term.name) and i + 1 < len(path.hops):
                yield path.hops[i + 1].part
            if key(hop.a) == key(term.name) and i > 0:
                yield path.hops[i - 1].part


def wire_words(wire: Part) -> str:
    """`BU 2.5 mm² wire (W10)`: what the eye looks for first."""
    area = value(wire, "area_mm2")
    said = [str(wire.said("colour") or ""), f"{area:g} mm²" if isinstance(area, float) else ""]
    return " ".join(x for x in (*said, "wire", f"({wire.name})") if x)


def where_words(circuit: Circuit, term: Term) -> str:
    """The plug, cavity and wire of a point; empty where the name says it all."""
    parts = {key(p.name): p for p in circuit.parts}
    part = parts.get(key(term.part))
    if part is None:
        return ""
    said = []
    if part.kind in ("connector", "box"):
        cavity = term.name.removesuffix(".a").removesuffix(".b")
        said.append(f"plug {part.name}" + (f", cavity {cavity}" if cavity else ""))
    elif part.kind == "ground":
        said.append(f"ground {part.name}")
    elif term.name not in ("in", "out", "", "+", "-"):
        said.append(f"{part.kind} {part.name}, pin {term.name}")
    else:
        said.append(f"{part.kind} {part.name}")
    near = (parts.get(key(n)) for n in _neighbours(circuit, term))
    said += list(dict.fromkeys(wire_words(p) for p in near if p is not None and p.kind == "wire"))[:2]
    return ", ".join([*said, *([f"“{part.text}”"] if part.text else [])])


def _term(text: str) -> Term:
    part, _, name = text.partition(".")
    return Term(part, name)


def _told(words: str) -> str:
    """A standing condition of the readings file as an order."""
    name, _, verb = words.rpartition(" ")
    if words.startswith("feed "):
        return "bridge " + words.removeprefix("feed ")
    return f"{FIRST[verb]} {name}" if verb in FIRST else words


def _after(words: str) -> str | None:
    if words.startswith("feed "):
        return "take the bridge off"
    return AFTER.get(words.rpartition(" ")[2])


def _look(circuit: Circuit, point: str, outcomes: list[str]) -> str:
    if "works" in outcomes:
        return f"Does {asked_of(circuit, point)} work?"
    if "bright" in outcomes:
        return f"How bright is {point}?"
    if "clicks" in outcomes:
        return f"Hand on {point}: does it click?"
    return f"Look at {point}"


def asking(circuit: Circuit, test: Json) -> Asking:
    """The words for one test of `next` (docs/json.md, next)."""
    first = tuple(_told(w) for w in test["with"])
    after = tuple(dict.fromkeys(x for x in map(_after, test["with"]) if x))
    if test.get("watch"):
        moved = next((p for p in circuit.parts if p.name == test["point"]), None)
        where = "" if moved is None else where_words(circuit, Term(moved.name, ""))
        what = asked_of(circuit, test["watch"])
        said = f"Move {test['point']} by hand: does {what} stop, start or flicker?"
        return Asking(said, first, where, after=after)
    if test["instrument"] not in MEASURES:
        said = _look(circuit, test["point"], [o["words"] for o in test["outcomes"]])
        part = next((p for p in circuit.parts if p.name == test["point"]), None)
        where = "" if part is None else where_words(circuit, Term(part.name, ""))
        return Asking(said, first, where, after=after)
    at = test["point"]
    to = test["to"]
    lead = LEADS.get(test["instrument"], "")
    where = where_words(circuit, _term(at))
    reached = REACHED.get(test["how"], "")
    other = "battery minus" if not to or to == "BAT.-" else to
    if test["instrument"] == "fuse-drop":
        reached = "one tip on each tab"
    return Asking(
        MEASURES[test["instrument"]].format(at=at), first, where, reached,
        "; ".join(x for x in (f"{lead} on {other}" if lead else "", _own(test)) if x), after,
    )  # fmt: skip


def _own(test: Json) -> str:
    """That the figures are for the own instrument."""
    return f"your own {test['instrument']}: {test['own']}" if test.get("own") else ""


def phase_words(circuit: Circuit, name: str) -> str:
    """The state asked for by the name of a phase."""
    if key(name) == "off":
        return STATE["off"]
    found = meant(circuit, name) or drive_cycle(circuit)[:1]
    return state_words(circuit, found[0])
