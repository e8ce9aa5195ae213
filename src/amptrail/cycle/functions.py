"""Whether what must hold holds at the ends of phases."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from amptrail.circuit.model import Must, Term, key
from amptrail.circuit.phases import names_phase
from amptrail.cycle.timeline import Instant, Timeline

FED_V = 1.0  # below this a load is not fed (common practice)

Wanted = Literal["on", "off"]


@dataclass(frozen=True, slots=True)
class Held:
    """One line of what must hold, at the end of one phase. `holds` None: nothing steady there.
    `volts` are those across the function, None for a signal."""

    name: str
    pass_no: int
    phase: str
    wanted: Wanted
    holds: bool | None
    volts: float | None
    limit_v: float | None

    def words(self) -> str:
        """The line for a person, such as `pump-runs in running: 0.00 V, must be 9 V or more`."""
        side = "more" if self.wanted == "on" else "less"
        edge = "" if self.limit_v is None else f"{self.limit_v:g} V or {side}"
        seen = "" if self.volts is None else f"{self.volts:.2f} V"
        if self.holds is None:
            seen = "nothing steady"
        must = f"must be {edge or self.wanted}"
        return f"{self.name} in {self.phase}: " + (f"{seen}, {must}" if seen else must)


def volts_of(must: Must, now: Instant) -> float | None:
    """Volts across a function, V; None for a signal, or where its terminals are not there."""
    terms: list[Term] = [t for t in (must.a, must.b) if t is not None]
    if must.a is None or any((key(t.part), key(t.name)) not in now.network.node_index for t in terms):
        return None
    return abs(now.volt(must.a) - (now.volt(must.b) if must.b is not None else 0.0))


def works(must: Must, now: Instant) -> bool:
    """Whether a function is on: its volts reach what it needs, or its signal is set."""
    if must.signal is not None:
        return bool(now.bits[_index(now, must)])
    volts = volts_of(must, now)
    edge = must.min_v if must.min_v is not None else must.max_off_v
    return volts is not None and volts >= (edge if edge is not None else FED_V)


def _index(now: Instant, must: Must) -> int:
    wanted = key(f"{must.module}.{must.signal}")
    if key(must.signal or "") == "awake":
        return next(i for i, n in enumerate(now.network.items) if key(n) == f"awake {key(must.module or '')}")
    return next(i for i, n in enumerate(now.network.items) if key(n) == f"signal {wanted}")


def functions(timeline: Timeline) -> tuple[Held, ...]:
    """Every line of what must hold, at the end of every phase of the last drive cycle that it names."""
    c = timeline.network.circuit
    out = []
    for now in timeline.ends():
        phase = timeline.network.phases[now.at]
        for must in c.musts:
            sides: tuple[tuple[Wanted, tuple[str, ...]], ...] = (("on", must.on), ("off", must.off))
            for wanted, names in sides:
                if not names_phase(c, phase, names):
                    continue
                steady = now.status in ("settled", "race")
                limit = must.min_v if wanted == "on" else must.max_off_v
                volts = volts_of(must, now) if steady else None
                holds = _holds(must, now, wanted) if steady else None
                out.append(Held(must.name, now.pass_no, now.phase, wanted, holds, volts, limit))
    return tuple(out)


def _holds(must: Must, now: Instant, wanted: Wanted) -> bool:
    if must.signal is not None:
        return works(must, now) == (wanted == "on")
    volts = volts_of(must, now)
    if volts is None:
        return False
    if wanted == "on":
        return volts >= (must.min_v if must.min_v is not None else FED_V)
    return volts <= (must.max_off_v if must.max_off_v is not None else FED_V)
