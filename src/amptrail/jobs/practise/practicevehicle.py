"""A vehicle with a hidden fault that answers readings-file lines as its meter, eyes and ears would.

Whatever `next` asks is filled in and parsed like any readings file; the reading is then taken on the circuit
with the hidden fault, at the place asked, under the conditions asked, and rounded as the instrument shows it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from typing import Any

import numpy as np

from amptrail.belief.senses import BRIGHT_FROM, DIM_FROM
from amptrail.circuit.model import Circuit, Fault, Must, Term
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.circuit.supply import nominal_v
from amptrail.circuit.tables import value as figure
from amptrail.errors import InputError, one
from amptrail.faults import Hypothesis
from amptrail.jobs.evidence import words
from amptrail.jobs.evidence.looks import AWAY, LOOKS_FINE
from amptrail.jobs.evidence.moving import STAYS
from amptrail.jobs.evidence.predict import with_severity
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation, observations
from amptrail.jobs.solved.predicted import Solved
from amptrail.jobs.solved.spots import Spot
from amptrail.sheet.words import free_text, name_text

UNIT = {"clamp": "A", "ohmmeter": "ohm"}
OVER_RANGE_OHM = 19e6
SOUND_LANES = 3  # healthy lanes beside the faulty one: what a load usually draws is their median


def drawn(rng: Random, causes: Sequence[Hypothesis]) -> tuple[Fault, ...]:
    """One cause by prior, its open-ended resistances at one log-uniform severity."""
    cause = rng.choices(causes, [c.prior for c in causes])[0]
    ohms = []
    if cause.severity:
        low, high = cause.severity
        ohms = [float(f"{low * (high / low) ** rng.random():.3g}")]
    return with_severity(cause.faults, ohms)


@dataclass(frozen=True)
class Vehicle:
    """A circuit and what is secretly wrong with it."""

    circuit: Circuit
    hidden: tuple[Fault, ...]

    def _solved(self, c: Conditions) -> Solved:
        return solving.solved(self.circuit, [self.hidden, *[()] * SOUND_LANES], c)

    # ---- answers --------------------------------------------------------------------------------
    def answer(self, test: dict[str, Any], readings: str) -> str:
        """The filled line(s) of one proposed test, ready to be appended; `readings` holds so far."""
        o = self._asked(test, readings)
        return str(test["line"]).replace("{value}", self.shown(o, test))

    def _asked(self, test: dict[str, Any], readings: str) -> Observation:
        """The observation a filled line stands for, by parsing it with a stand-in value."""
        tried: list[str] = []
        stand_ins = [o["words"] for o in test["outcomes"] if o["low"] is None]
        stand_ins += [f"1 {UNIT.get(test['instrument'], 'V')}", "works", "dark", "silent"]
        for word in stand_ins:
            try:
                heard = observations(
                    self.circuit, readings + "\n" + str(test["line"]).replace("{value}", word)
                )
            except InputError as e:
                tried.append(f"{word}: {e.problems[0].message}")
                continue
            if heard.used and (not heard.ignored or heard.ignored[-1][0] < heard.used[-1].line):
                return heard.used[-1]
        raise one(
            "no-answer", f"nothing can be read so: {test['line']}",
            remedy="; ".join(dict.fromkeys(tried[:2])) or "ask as `K4.87 in running meter ?`",
        )  # fmt: skip

    def ask(self, line: str, readings: str) -> tuple[str, Observation]:
        """The answer to a reading line of a person's own, with {value} where it goes, and what it observes.
        InputError when no answer can be written there."""
        words_ = line.lower().split()
        tool = next(
            (x for x in (*UNIT, "meter", "lamp", "led", "loaded", "fuse-drop") if x in words_), "meter"
        )
        looks = ("bad", "fine") if "looks" in words_ else ()
        kinds = ("clicks", "works", *looks, "dark")
        test = {"line": line, "instrument": tool, "outcomes": [{"words": w, "low": None} for w in kinds]}
        o = self._asked(test, readings)
        return self.shown(o, test), o

    def shown(self, o: Observation, test: dict[str, Any]) -> str:
        """What a person would write in place of {value}."""
        match o.kind:
            case "works":
                return "works" if self._works(o) else "does not work"
            case "lit":
                return self._lit(o)
            case "clicks":
                moved = self._solved(o.conditions).switches(o.part or "", o.phase or 0)[0]
                return "clicks" if moved else "silent"
            case "number" | "range" | "same":
                return self._number(o)
            case "looks":
                return self._looks(o, test)
            case "exchanged":
                return self._exchanged(o, test)
            case "moved":
                return STAYS  # what is hidden here does not come and go
        raise one("no-answer", f"{o.text}: practice has no answer of that kind",
                  remedy="ask for a figure, a lamp, a click, a look, or whether something works")  # fmt: skip

    def _works(self, o: Observation) -> bool:
        p = words.does(self.circuit, o, self._solved(o.conditions))
        return bool(p[0] > 0.5)

    def _lit(self, o: Observation) -> str:
        got = self._solved(o.conditions)
        part = next((p for p in self.circuit.parts if o.part and p.name == o.part), None)
        if part is None:
            volts, rated = float(got.lamp_volts(o)[0]), words.LAMP_V
        else:
            share = got.live_share(part.name, o.phase or 0)
            volts = float((got.across(part.name, o.phase or 0) * share)[0])
            said = figure(part, "rated_v") if part.kind == "lamp" else None
            rated = float(said) if isinstance(said, (int, float)) else nominal_v(self.circuit)
        x = abs(volts) / rated
        return "bright" if x > BRIGHT_FROM else "dim" if x > DIM_FROM else "dark"

    def _number(self, o: Observation) -> str:
        assert o.spot is not None
        value, _ = self._solved(o.conditions).measure([(o.spot, o.instrument, o.phase or 0)])
        v = float(value[0, 0])
        if o.instrument == "ohmmeter":
            return "over range" if v > OVER_RANGE_OHM else f"{v:.1f} ohm"
        if o.instrument == "fuse-drop":
            return f"{v * 1000:.1f} mV"
        return f"{v:.2f} {UNIT.get(o.instrument, 'V')}"

    def _looks(self, o: Observation, test: dict[str, Any]) -> str:
        """A look finds what is there to be seen (a person's misses are not played)."""
        here = [f for f in self.hidden if f.at.part == o.part]
        seen = [x["words"] for x in test["outcomes"] if x["words"] not in LOOKS_FINE]
        if any(f.mode == "missing" for f in here) and "missing" in seen:
            return "missing"
        bad = [x for x in seen if x not in AWAY] or seen  # an outcome may stand first for being likeliest
        return str(bad[0] if here or self._burnt(o.part or "") else "fine")

    def _burnt(self, part: str) -> bool:
        """A fuse that the fault has blown shows it."""
        got = self._solved(Conditions())
        phases = range(len(drive_cycle(self.circuit)))
        return any(part in got.session.state(got.runs, 0, i).state["fuses_open"] for i in phases)

    def _exchanged(self, o: Observation, test: dict[str, Any]) -> str:
        return "no change"

    # ---- the complaint ---------------------------------------------------------------------------
    def complaint(self) -> str:
        """One line: the first function that fails, or the draw at rest; empty when nothing shows."""
        cycle = drive_cycle(self.circuit)
        for m in self.circuit.musts:
            for i, phase in enumerate(cycle):
                on = names_phase(self.circuit, phase, m.on)
                if not on and not names_phase(self.circuit, phase, m.off):
                    continue
                o = Observation(0, "", "works", i, part=m.name)
                if self._works(o) != on and self._other_than_healthy(m, o):
                    said = "does not work" if on else "works"
                    return f"{name_text(m.name)} in {free_text(phase.name)} {said}\n"
        return self._draw()

    def _other_than_healthy(self, m: Must, o: Observation) -> bool:
        p = words.does(self.circuit, o, self._solved(Conditions()))
        return bool((p[0] > 0.5) != (p[1] > 0.5))

    def _draw(self) -> str:
        cycle = drive_cycle(self.circuit)
        asleep = next((i for i, p in enumerate(cycle) if p.base == "asleep"), None)
        battery = next(p.name for p in self.circuit.parts if p.kind == "battery")
        if asleep is None or not self.circuit.draws:
            return ""
        s = Spot(battery, "amps", Term(battery, ""))
        value, _ = self._solved(Conditions()).measure([(s, "clamp", asleep)])
        now, healthy = float(np.abs(value[0, 0])), float(np.abs(value[1, 0]))
        limit = max(d.max_a for d in self.circuit.draws)
        if now > max(limit, healthy + 0.05):
            return f"{battery} in {free_text(cycle[asleep].name)} clamp {value[0, 0]:.2f} A\n"
        return ""
