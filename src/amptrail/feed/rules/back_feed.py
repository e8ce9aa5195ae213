"""No current runs where the healthy vehicle has none: no output driven backwards, no module held alive or
woken through its pins, no rail live that should be dead.

Danger: an output stage heated through its body diode; a controller kept alive through an output; an
ignition rail that stays live behind the key.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.feed.case import Case
from amptrail.feed.evidence import Instant
from amptrail.feed.flags import BACK_FEED_A, BACK_FEED_TIMES
from amptrail.feed.graph import FUSES, RUN, edges, reach, spelled
from amptrail.feed.marks import ALWAYS, Mark, most, state
from amptrail.feed.measures import at, by_phase, reverse_a
from amptrail.feed.shape import chains, feed_edges, grounded_in_sheet

NAME, SEVERITY = "back_feed", ALWAYS
DEAD_V, LIVE_V = 1.0, 3.0  # a rail is dead below, and wakes what hangs on it above (common practice)


def marks(case: Case) -> Iterator[Mark]:
    healthy = by_phase([case.beside("asleep")], reverse_a)
    rails = () if case.oracle or not case.feeding else _rails(case)
    for story in case.stories():
        for x, h in zip(story.instants, case.beside(story.start).instants, strict=True):
            for name, amps in reverse_a(x).items():
                base = max(at(healthy, x.phase, name), 0.0)
                limit = max(BACK_FEED_A, BACK_FEED_TIMES * base + BACK_FEED_A)
                yield most(NAME, story.start, x.phase_name, name, max(amps, 0.0), limit, "A")
            if not case.oracle and case.feeding:
                yield from _effects(case, x, h, rails)


def _rails(case: Case) -> tuple[tuple[str, int], ...]:
    """Metals behind fuses, switches and contacts that the feed is not laid on: (name, node)."""
    f = case.fitted
    own = {e.branch for e in feed_edges(f)}
    ends = [n for c in chains(f) for n in (c.source, c.end)]
    served = set(reach(f.network, ends, RUN, own)) | grounded_in_sheet(f)
    found: dict[int, str] = {}
    for e in edges(f.network):
        if e.branch in own or e.kind not in (*FUSES, "switch", "contact"):
            continue
        for node in (e.a, e.b):
            if node not in served:
                found.setdefault(node, spelled(f.network, node))
    return tuple((name, node) for node, name in found.items())


def _effects(case: Case, x: Instant, h: Instant, rails: tuple[tuple[str, int], ...]) -> Iterator[Mark]:
    start = x.story.start
    bed = case.network.phases[x.phase].base == "asleep"
    for module in case.network.modules:
        alive, usual = (_alive(i, module) for i in (x, h))
        woken = module in x.state.modules_awake and module not in h.state.modules_awake and not bed
        if (alive and not usual) or woken:
            yield state(NAME, start, x.phase_name, module, True, False)
    if not (x.steady and h.steady):
        return
    for name, node in rails:
        if abs(float(h.volts[node])) <= DEAD_V:
            yield most(NAME, start, x.phase_name, name, abs(float(x.volts[node])), LIVE_V, "V")


def _alive(x: Instant, module: str) -> bool:
    net = x.story.network
    return bool(x.bits[int(net.static.at[1]) + net.modules.index(module)])
