"""The discrete state, and which elements are there in it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from amptrail.circuit.model import Circuit, Driver, Phase, key
from amptrail.circuit.phases import cranked
from amptrail.errors import nearest
from amptrail.twin.bench import Element, Gate, refuse
from amptrail.twin.nodal import Solution
from amptrail.twin.overlay import Faulty, part_named, switch_made

Pair = tuple[str, str]
TimerKey = tuple[str, int]  # module, number of the held / pulsed expression in its lines
NEVER_S = -1e30


@dataclass(frozen=True)
class State:
    """What is on, awake, open. Names as the sheet spells them."""

    energised: frozenset[str] = frozenset()
    alive: frozenset[str] = frozenset()
    inputs: frozenset[Pair] = frozenset()
    signals: frozenset[Pair] = frozenset()
    on: frozenset[Pair] = frozenset()
    tripped: frozenset[Pair] = frozenset()
    excited: frozenset[str] = frozenset()
    fuses_open: frozenset[str] = frozenset()

    @property
    def awake(self) -> frozenset[str]:
        return frozenset(m for m, s in self.signals if key(s) == "awake")

    def with_relay(self, name: str, on: bool) -> State:
        """The state with a relay pulled in or let go."""
        me = frozenset((name,))
        return replace(self, energised=(self.energised | me) if on else (self.energised - me))

    def without_fuse(self, name: str) -> State:
        """The state with a fuse open."""
        return replace(self, fuses_open=self.fuses_open | {name})

    def with_on(self, drivers: Iterable[Pair]) -> State:
        """The state with some outputs on."""
        return replace(self, on=self.on | frozenset(drivers))

    def taking(self, module: str, other: State) -> State:
        """This state with one module's part taken from another."""

        def own(mine: frozenset[Pair], theirs: frozenset[Pair]) -> frozenset[Pair]:
            return frozenset(p for p in mine if p[0] != module) | {p for p in theirs if p[0] == module}

        return replace(
            self,
            alive=(self.alive - {module}) | (other.alive & {module}),
            inputs=own(self.inputs, other.inputs),
            signals=own(self.signals, other.signals),
            on=own(self.on, other.on),
            tripped=own(self.tripped, other.tripped),
        )


@dataclass(frozen=True, slots=True)
class Timer:
    """What a held or pulsed expression remembers: its operand's last settled value, when its time is up."""

    value: bool = False
    until: float = NEVER_S


@dataclass
class Clock:
    """Time, phase, and committed timers. Seconds."""

    now: float
    phase: Phase | None
    timers: dict[TimerKey, Timer] = field(default_factory=dict)


def state_words(s: State) -> dict[str, list[str]]:
    """The state in the words of the oracle's truth files, sorted."""
    return {
        "relays_energised": sorted(s.energised),
        "modules_awake": sorted(s.awake),
        "drivers_on": sorted(".".join(p) for p in s.on),
        "drivers_tripped": sorted(".".join(p) for p in s.tripped),
        "fuses_blown": sorted(s.fuses_open),
        "charging": sorted(s.excited),
    }


def told(s: State) -> dict[str, list[str]]:
    """The state in the words of the JSON contract, sorted."""
    words = state_words(s)
    words["fuses_open"] = words.pop("fuses_blown")
    return words


def _names(circuit: Circuit, word: str) -> dict[str, str]:
    """Names that a list of the state may hold, by their key."""
    if word == "drivers":
        names = [f"{x.module}.{x.name}" for x in circuit.modules if isinstance(x, Driver)]
    else:
        kinds = {
            "relays_energised": ("relay", "starter"), "modules_awake": ("module",),
            "fuses_open": ("fuse", "link"), "charging": ("alternator",),
        }[word]  # fmt: skip
        names = [p.name for p in circuit.parts if p.kind in kinds]
    return {key(n): n for n in names}


def state_of(circuit: Circuit, words: Mapping[str, Sequence[str]]) -> State:
    """The state that the lists of the JSON contract tell; ModelError for a name that cannot stand there.

    What they do not tell (inputs, other signals) bears on no volt of a frozen state.
    """
    found: dict[str, list[str]] = {}
    for word in told(State()):
        known = _names(circuit, "drivers" if word.startswith("drivers") else word)
        found[word] = []
        for name in words.get(word, ()):
            if not isinstance(name, str) or key(name) not in known:
                near = nearest(str(name), list(known.values()))
                raise refuse(
                    "no-state", f"{word} cannot hold {name}", f"Did you mean {near}?" if near else ""
                )
            found[word].append(known[key(name)])

    def pairs(word: str) -> frozenset[Pair]:
        return frozenset((m, d) for m, _, d in (n.partition(".") for n in found[word]))

    awake = frozenset(found["modules_awake"])
    return State(
        energised=frozenset(found["relays_energised"]),
        alive=awake,
        signals=frozenset((m, "awake") for m in awake),
        on=pairs("drivers_on"),
        tripped=pairs("drivers_tripped"),
        excited=frozenset(found["charging"]),
        fuses_open=frozenset(found["fuses_open"]),
    )


def holds(gate: Gate, f: Faulty, s: State, awake: frozenset[str], phase: Phase | None) -> bool:
    """Whether an element's gate holds in a state and phase (phase None: battery off, key off)."""
    name = gate.name
    match gate.what:
        case "closed":
            got = _closed(f, name, phase)
        case "armature":
            got = f.stuck.get(key(name[0]), name[0] in s.energised)
        case "whole":
            got = name[0] not in s.fuses_open and f.stuck.get(key(name[0]), True)
        case "on":
            got = name in s.on
        case "low-half":
            got = name[0] in awake and name not in s.on
        case "awake":
            got = name[0] in awake
        case "excited":
            got = name[0] in s.excited
        case "cranking":
            got = cranked(f.circuit, part_named(f.circuit, name[0]), phase)
        case "never":
            return False
    return got == gate.want


def _closed(f: Faulty, name: tuple[str, ...], phase: Phase | None) -> bool:
    told = (key(name[0]), *(key(x) for x in name[1:]))
    if told in f.held:
        return f.held[told]
    return switch_made(f.circuit, part_named(f.circuit, name[0]), name, phase)


def present(f: Faulty, s: State, phase: Phase | None) -> list[tuple[int, Element]]:
    """The elements that are there in a state, with positions on the bench; numbers as they are now."""
    out = []
    awake = s.awake
    known: dict[Gate, bool] = {}
    for i, e in enumerate(f.bench.out):
        if e.gate is None:
            out.append((i, e))
            continue
        if e.gate not in known:
            known[e.gate] = holds(e.gate, f, s, awake, phase)
        if known[e.gate]:
            out.append((i, e))
        elif e.rest is not None:
            out.append((i, replace(e, p=e.rest)))
    return out


def pulses(duties: Mapping[Pair, float], s: State) -> list[tuple[float, State]]:
    """The shares of a period of pulsed outputs, and the state in which what conducts in each is on.

    All begin to conduct at the same moment, each for its duty of the period; one that is between two pulses
    leaks like one that is off, or conducts to ground if it is a half bridge. Armatures, filaments of other
    shares and modules do not follow within a period: they stand as the means want them.
    """
    pulsed = {d: duty for d, duty in duties.items() if d in s.on}
    edges = [0.0, *sorted({d for d in pulsed.values() if d > 0.0}), 1.0]
    return [
        (till - since, replace(s, on=s.on - {d for d, duty in pulsed.items() if duty <= since}))
        for since, till in pairwise(edges)
    ]


def frozen(f: Faulty, s: State, phase: Phase | None) -> list[Element]:
    """The elements that are there in a state."""
    return [e for _, e in present(f, s, phase)]


class View:
    """One solution seen by name: volts at terminals, amps and volts of branches."""

    def __init__(self, f: Faulty, here: Sequence[tuple[int, Element]], got: Solution) -> None:
        self.f, self.got = f, got
        self.here = [e for _, e in here]
        self.slot = {i: k for k, (i, _) in enumerate(here)}

    def volts(self, node: int) -> float:
        return self.got.volts[node]

    def amps(self, position: int) -> float:
        """Amps of the element at a position of the bench; 0 for one that is not there."""
        k = self.slot.get(position)
        return 0.0 if k is None else self.got.amps[k]

    def peak_amps(self, position: int) -> float:
        """The most it carries within a period, A: what a current limit sees."""
        k = self.slot.get(position)
        return 0.0 if k is None else max(abs(s.amps[k]) for _, s in self.got.shares)

    def heating_amps(self, position: int) -> float:
        """Root of the mean square over a period, A: what heats a fuse."""
        k = self.slot.get(position)
        if k is None:
            return 0.0
        if not self.got.within:
            return abs(self.got.amps[k])
        return math.sqrt(math.fsum(w * s.amps[k] ** 2 for w, s in self.got.within))

    def across(self, position: int) -> float:
        """Volts across the element at a position of the bench; 0 for one that is not there."""
        k = self.slot.get(position)
        if k is None:
            return 0.0
        return self.got.volts[self.here[k].a] - self.got.volts[self.here[k].b]
