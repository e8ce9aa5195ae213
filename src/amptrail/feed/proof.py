"""The proof of a feed that holds: everything it was judged from, as data (design/0003, Proof).

The proof tells what was lived through and what every volt and ampere was; `checker` reads it and shares no
code with this package. Equal states of one vehicle in one phase are told once (`points`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from amptrail.circuit.model import Circuit, Feed, Signal, Term, key
from amptrail.circuit.wiring import wiring
from amptrail.errors import one
from amptrail.feed.corners import COLD_V, HOT_V, ranges
from amptrail.feed.evidence import Instant, Lives, Put, Story, lives, switch_names
from amptrail.feed.extra import Extra, extra_of
from amptrail.feed.fitting import Fitted
from amptrail.feed.flags import interlock_switches
from amptrail.feed.measures import buzzing
from amptrail.feed.rules import RULES
from amptrail.feed.shape import area_mm2, chains
from amptrail.feed.verdict import Verdict
from amptrail.feed.worst import Corner, corners
from amptrail.sheet import fault_text
from amptrail.sheet.printer import feed_lines

Json = dict[str, Any]
DIGITS = 9  # volts and amps are told to 1e-9
ALTERED = ("battery-reconnected", "key-off-turning")  # starts with a leg unlike its phase
INNER = ".copy"  # a branch of the computation that the sheet does not have


def canonical(proof: Json) -> str:
    """One text for one proof, whatever the order its keys were written in."""
    return json.dumps(proof, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def sha256(proof: Json) -> str:
    """The hash of a proof."""
    return hashlib.sha256(canonical(proof).encode()).hexdigest()


@dataclass(frozen=True)
class _Lived:
    """A story with what the proof calls it."""

    story: Story
    corner: str
    vehicle: str
    extra: str | None = None


def write_proof(v: Verdict, sheet_text: str, circuit: Circuit, feed: Feed) -> Json:
    """The proof of a verdict `holds` reached by all rules in every corner. InputError for any other
    verdict: a refusal needs no proof, its figures speak."""
    if v.verdict != "holds":
        raise one("no-proof", f"feed {feed.name} is {v.verdict}: only a feed that holds has a proof",
                  remedy="leave out --prove, or choose a feed that holds")  # fmt: skip
    f = v.fitted
    told = list(_corners(f, v))
    points = _Points(f)
    stories = [points.story(x) for x in _everything(f, told)]
    return {
        "amptrail_proof": 1,
        "sheet_sha256": hashlib.sha256(sheet_text.encode()).hexdigest(),
        "feed": list(feed_lines(circuit, feed)),
        "against": fault_text(circuit, f.against) if f.against else None,
        "purpose": v.purpose,
        "laws": circuit.laws,
        "rules": [r.NAME for r in RULES],
        "starts": list(v.lives.starts),
        "corners": [{"name": "nominal", "values": {}}, *({"name": n, "values": x} for n, _, x in told)],
        "phases": [p.name for p in f.network.phases],
        "stories": stories,
        "points": points.points,
        "verdict": "holds",
        "true_only_if": [
            f"{p.name} area_mm2" for p in feed.parts if p.kind == "wire" and area_mm2(p) is None
        ],
        "margins": {
            r: {
                "start": m.start,
                "phase": m.phase,
                "part": m.part,
                "figure": m.figure + 0.0,
                "limit": m.limit,
                "margin": m.margin,
            }
            for r, m in v.margins.items()
        },
    }


def _corners(f: Fitted, v: Verdict) -> Iterator[tuple[str, Corner, dict[str, float]]]:
    """(name, corner, its numbers by name): those with what the sheet states, then those with defaults too."""
    for only_said in (True, False):
        if not only_said and all(r.said for r in ranges(f.network)):
            return
        for c in corners(f, v.purpose, only_said):
            if only_said or c.ends:
                yield (c.name if only_said else f"assumed {c.name}"), c, _numbers(f, c, only_said)


def _numbers(f: Fitted, c: Corner, only_said: bool) -> dict[str, float]:
    """What a corner changes: `K4 pull_v` and its value."""
    if c.ends:
        return {
            r.name: r.ends[0 if end < 0 else 1]
            for r, end in zip(ranges(f.network), c.ends, strict=True)
            if end and (r.said or not only_said)
        }
    places = {(p.array, p.index): p.value for p in c.changes if isinstance(p, Put)}
    found = {}
    for p in f.network.parameters:
        if p.name == "emf_v":
            found[f"{p.part} {p.name}"] = places[p.places[0]]
    if not found:
        raise AssertionError(f"a supply extreme without a supply: {COLD_V} V, {HOT_V} V")
    return found


def _everything(f: Fitted, told: Iterable[tuple[str, Corner, dict[str, float]]]) -> Iterator[_Lived]:
    """Every life the judge looks at, in the order it does."""
    net = f.network
    switches = interlock_switches(f.circuit)
    others = (*switch_names(net), *net.drivers)
    yield from _of(lives(f, switches, named=True, also_held=others), "nominal")
    yield from _more(f, extra_of(f))
    for name, c, _ in told:
        yield from _of(lives(f, switches, c.name, c.changes), name)


def _of(told: Lives, corner: str) -> Iterator[_Lived]:
    for s in told.stories.values():
        yield _Lived(s, corner, s.state)


def _more(f: Fitted, e: Extra) -> Iterator[_Lived]:
    every = chains(f)
    for n, s in e.shorts.items():
        yield _Lived(s, "nominal", "fed", "short " + "+".join(p.name for p in every[n].parts))
    for word, pair in (("cold", e.cold), ("inrush", e.inrush), ("half", e.halves)):
        for vehicle, s in zip(("fed", "healthy"), pair, strict=True):
            yield _Lived(s, "nominal", vehicle, word)
    for name, s in e.lost.items():
        yield _Lived(s, "nominal", "fed", f"lost {name}")


class _Points:
    """Operating points told once each."""

    def __init__(self, f: Fitted) -> None:
        self.f, self.net = f, f.network
        self.points: list[Json] = []
        self.known: dict[tuple[Any, ...], int] = {}
        own = {key(p.name) for p in f.feed.parts}
        self.signals = {
            key(f"{x.module}.{x.name}"): f"{x.module}.{x.name}"
            for x in f.circuit.modules
            if isinstance(x, Signal)
        }
        first: dict[str, int] = {}  # a pin of several lines is one name: its first branch
        for n, b in enumerate(self.net.branches):
            if not b.endswith(INNER):
                first.setdefault(b, n)
        branches = [(n, b) for b, n in first.items()]
        foreign = [(n, b) for n, b in branches if _owner(f, b) not in own]
        self.branches = {"fed": branches, "faulty": foreign, "healthy": foreign}
        whole, sheet = self._metals(f.circuit), self._metals(f.sheet)
        self.metals = {"fed": whole, "faulty": sheet, "healthy": sheet}

    def _metals(self, circuit: Circuit) -> list[tuple[int, str]]:
        """Every metal a lead can touch: (node of the network, its name in that circuit)."""
        w = wiring(circuit)
        inside = [t for m in circuit.musts for t in (m.a, m.b) if t is not None]
        inside += [Term(p.name, "M") for p in circuit.parts if p.kind == "starter"]
        more = {_label(t): t for t in inside if w.node(t) is None}  # no lead of the sheet is joined there
        return [(self.net.node(t), _label(t)) for t in (*w.names, *more.values())]

    def story(self, x: _Lived) -> Json:
        """One life as the proof tells it."""
        steps = [
            {
                "pass": i.step.pass_no,
                "fit": i.step.fit,
                "turning": i.step.asked is not None,
                "phase": i.phase_name,
                "t_s": round(i.t_s, DIGITS),
                "status": i.status,
                "point": self._point(x, i),
            }
            for i in x.story.instants
        ]
        return {"corner": x.corner, "vehicle": x.vehicle, "start": x.story.start, "held": x.story.held,
                "extra": x.extra, "steps": steps}  # fmt: skip

    def _state(self, i: Instant) -> Json:
        s = i.state
        at = self.net.static.at
        return {
            "relays_energised": list(s.relays_energised),
            "modules_awake": list(s.modules_awake),
            "modules_alive": [m for n, m in enumerate(self.net.modules) if i.bits[int(at[1]) + n]],
            "signals_true": [
                self.signals[key(item.partition(" ")[2])]
                for item, on in zip(self.net.items, i.bits, strict=False)
                if on and item.startswith("signal ") and key(item.partition(" ")[2]) in self.signals
            ],
            "drivers_on": list(s.drivers_on),
            "drivers_tripped": list(s.drivers_tripped),
            "fuses_open": list(s.fuses_open),
            "charging": list(s.charging),
        }

    def _point(self, x: _Lived, i: Instant) -> int:
        if i.status == "not_converged":
            raise one("no-proof", f"{x.corner}, start {x.story.start}, {i.phase_name}: no steady value",
                      remedy="a state that cannot be computed cannot be proved")  # fmt: skip
        state = self._state(i)
        buzz = i.status == "chatter"
        cut = x.story.start in ALTERED and (x.story.start, i.at)  # a clamp may be off, a key: told for itself
        told = (x.corner, x.vehicle, x.story.held, x.extra, i.phase, cut, buzz, canonical(state))
        if told in self.known:
            return self.known[told]
        metals, out, k = self.metals[x.vehicle], i.story.out, (i.story.lane, i.at)
        point: Json = {"state": state, "volts": self._rounded(metals, i.volts)}
        if buzz:
            point["buzzing"] = sorted(buzzing(i))
            point["low"] = self._rounded(metals, out.low[k])
            point["high"] = self._rounded(metals, out.high[k])
        amps = self._rounded(self.branches[x.vehicle], i.amps)
        point["amps"] = {n: a for n, a in amps.items() if a}
        self.points.append(point)
        self.known[told] = len(self.points) - 1
        return self.known[told]

    def _rounded(self, names: list[tuple[int, str]], values: Any) -> dict[str, float]:
        found = np.round(np.asarray(values, np.float64), DIGITS) + 0.0
        return {name: float(found[n]) for n, name in names}


def _label(t: Term) -> str:
    return str(t) if t.name else t.part


def _owner(f: Fitted, branch: str) -> str:
    """The key of the part of the feed that a branch belongs to, else the branch's own."""
    for p in f.feed.parts:
        if key(branch) == key(p.name) or key(branch).startswith(key(p.name) + "."):
            return key(p.name)
    return key(branch)


__all__ = ["canonical", "sha256", "write_proof"]
