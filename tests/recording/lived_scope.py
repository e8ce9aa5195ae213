"""A scope on a demo circuit that ngspice, an independent simulator (a Debian package), lived through from the
exported deck: its own integration, hysteresis, logic and diodes; resistances as exported."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from signals import table

from amptrail.circuit.model import Circuit
from amptrail.exchange import spice
from amptrail.exchange.transient import transient, watched
from amptrail.faults import changes
from amptrail.jobs.solved.feeds import fitted
from amptrail.jobs.solved.spots import spot
from amptrail.sheet import parse, parse_fault
from amptrail.solve import assemble, run
from amptrail.solve.records import Lane

DEMOS = Path(__file__).parents[2] / "demos"


@dataclass(frozen=True, eq=False)
class Lived:
    """`t` (n,) s and `x` (n, channels) without noise; `begins`: when each leg of the story began."""

    channels: tuple[tuple[str, str], ...]  # name, unit
    t: np.ndarray
    x: np.ndarray
    begins: dict[str, float]

    def at(self, name: str, t_s: float) -> float:
        """What a channel read at an instant."""
        k = [n for n, _ in self.channels].index(name)
        return float(self.x[np.searchsorted(self.t, t_s), k])

    def crossing(self, name: str, level: float, after_s: float, up: bool) -> float:
        """First instant from `after_s` on at which a channel passes a level, by straight lines."""
        k = [n for n, _ in self.channels].index(name)
        y = self.x[:, k] - level
        hit = (y[:-1] < 0) & (y[1:] >= 0) if up else (y[:-1] >= 0) & (y[1:] < 0)
        j = next(int(j) for j in np.flatnonzero(hit) if self.t[j + 1] >= after_s)
        return float(self.t[j] + (self.t[j + 1] - self.t[j]) * y[j] / (y[j] - y[j + 1]))


def sheet(name: str) -> str:
    """The text of a demo circuit."""
    return (DEMOS / f"{name}.sheet").read_text(encoding="utf-8")


@lru_cache
def live(
    name: str, story: tuple[tuple[str, float], ...], points: tuple[str, ...], step_s: float,
    fault: str = "", feed: str = "",
) -> Lived:  # fmt: skip
    """Let ngspice live through a story: legs of (phase, seconds)."""
    circuit: Circuit = fitted(parse(sheet(name), name), feed or None)
    net = assemble(circuit)
    wrong = tuple(c for f in parse_fault(circuit, fault) for c in changes(net, f)) if fault else ()
    lane = Lane(*(a[0] for a in run(net, [wrong]).lanes))
    number = {p.name: k for k, p in enumerate(net.phases)}
    found = [spot(circuit, p) for p in points]
    watch = [watched(net, s.name, s.a, s.b, s.what == "amps") for s in found]
    legs = [(number[p], s) for p, s in story]
    got = spice.lived(transient(net, lane, legs, watch, step_s))
    ends = np.cumsum([s for _, s in story])
    begins: dict[str, float] = {}
    for (p, s), end in zip(story, ends, strict=True):
        begins.setdefault(p, float(end - s))
    assert got[-1, 0] > ends[-1] - 2 * step_s
    units = tuple((s.name, "A" if s.what == "amps" else "V") for s in found)
    return Lived(units, got[:, 0], got[:, 1:], begins)


def recorded(
    path: Path, lived: Lived, noise_v: float = 0.05, noise_a: float = 0.002, left_out: str = ""
) -> Path:
    """What a scope would have exported, with noise on every channel."""
    rng = np.random.default_rng(7)
    kept = [k for k, (n, _) in enumerate(lived.channels) if n != left_out]
    columns = [lived.t]
    for k in kept:
        grain = noise_a if lived.channels[k][1] == "A" else noise_v
        columns.append(lived.x[:, k] + grain * rng.standard_normal(lived.t.shape))
    head = "time (s)," + ",".join(f"{lived.channels[k][0]} ({lived.channels[k][1]})" for k in kept)
    return table(path, head + "\n", columns)
