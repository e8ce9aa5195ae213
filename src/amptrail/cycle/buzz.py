"""What chatters, as a loop: who switches whom, and modules that starve themselves."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable

from amptrail.cycle.timeline import Instant
from amptrail.cycle.trail import SOURCES
from amptrail.solve import laws
from amptrail.solve.records import Lane

Needs = dict[str, set[str]]
Near = dict[int, list[tuple[int, int]]]  # node: (branch, node beyond it)


FAR = 1000


def _way(now: Instant, near: Near, start: int, ends: set[int], avoid: set[int]) -> tuple[int, set[str]]:
    """(how many branches, the state items whose contacts or outputs lie there) of the shortest way from a
    node to any of `ends`, made or not: what must be so for a current to come that way."""
    back: dict[int, tuple[int, int]] = {start: (-1, -1)}
    queue = deque([start])
    while queue:
        node = queue.popleft()
        if node in ends:
            found: set[str] = set()
            steps = 0
            while back[node][0] >= 0:
                branch, node = back[node]
                found |= _item(now, branch)
                steps += 1
            return steps, found
        for b, there in near.get(node, ()):
            if b not in avoid and there not in back:
                back[there] = (b, node)
                queue.append(there)
    return FAR, set()


def _near(now: Instant, lane: Lane) -> Near:
    """What is beside what, sources and open places left out."""
    out: Near = {}
    for b in range(len(now.network.branches)):
        if not lane.open[b] and int(lane.kind[b]) not in (*SOURCES, laws.NONE):
            a, z = int(lane.na[b]), int(lane.nb[b])
            out.setdefault(a, []).append((b, z))
            out.setdefault(z, []).append((b, a))
    return out


def _item(now: Instant, branch: int) -> set[str]:
    net = now.network
    gate, unit = int(net.static.gate[branch]), int(net.static.unit[branch])
    if gate in (laws.MADE, laws.BROKEN):
        return {f"relay {net.relays[unit]}"}
    return {f"driver {net.drivers[unit]}"} if gate == laws.DRIVER else set()


def _needs(now: Instant, lane: Lane) -> Needs:
    """For every item that chatters, those of the others that switch it."""
    net, s = now.network, now.network.static
    plus = {int(lane.nb[b]) for b in range(len(net.branches)) if int(lane.kind[b]) == laws.BATTERY}
    minus = {int(s.ground)}
    near = _near(now, lane)
    out: Needs = {}
    found: set[str]
    for item in now.chattering:
        kind, _, who = item.partition(" ")
        if kind == "relay":
            coil = int(s.coil[net.relays.index(who)])
            a, b = int(lane.na[coil]), int(lane.nb[coil])
            avoid = {int(c) for c in s.coil}
            both = []
            for high, low in ((a, b), (b, a)):
                up, down = _way(now, near, high, plus, avoid), _way(now, near, low, minus, avoid)
                both.append((up[0] + down[0], up[1] | down[1]))
            found = min(both, key=lambda x: x[0])[1]
        elif kind == "awake":
            found = _module(now, near, net.modules.index(who), plus, minus)
        elif kind in ("driver", "trip"):
            module = who.partition(".")[0]
            found = {f"awake {module}"} | _module(now, near, net.modules.index(module), plus, minus)
        else:
            found = set()
        out[item] = found & set(now.chattering)
    return out


def _module(now: Instant, near: Near, m: int, plus: set[int], minus: set[int]) -> set[str]:
    s = now.network.static
    pins = [int(s.sup_node[k]) for k in range(int(s.mod_range[m, 0]), int(s.mod_range[m, 1]))]
    pins += [int(s.in_node[k]) for k in range(int(s.mod_range[m, 2]), int(s.mod_range[m, 3]))]
    inner = {b for b in range(len(now.network.branches)) if int(s.gate[b]) == laws.SUPPLY}
    inner |= {int(c) for c in s.coil}
    found: set[str] = set()
    for p in pins:
        found |= _way(now, near, p, plus, inner)[1] | _way(now, near, p, minus, inner)[1]
    return found


def _ring(needs: Needs) -> tuple[str, ...]:
    """The shortest closed chain, each switched by the next; () when there is none."""
    best: tuple[str, ...] = ()
    for start in sorted(needs):
        queue: deque[tuple[str, ...]] = deque([(start,)])
        seen = {start}
        while queue:
            way = queue.popleft()
            for after in sorted(needs.get(way[-1], ())):
                if after == start and (not best or len(way) < len(best)):
                    best = way
                if after not in seen:
                    seen.add(after)
                    queue.append((*way, after))
    return best


def _starving(now: Instant, lane: Lane) -> Iterable[str]:
    """Modules whose supply swings across what they live on."""
    net, s = now.network, now.network.static
    for m, name in enumerate(net.modules):
        if f"awake {name}" not in now.chattering or now.low is None or now.high is None:
            continue
        for k in range(int(s.mod_range[m, 0]), int(s.mod_range[m, 1])):
            low, high = float(now.low[s.sup_node[k]]), float(now.high[s.sup_node[k]])
            least = float(lane.least[k])
            if low < least <= high:
                yield f"{name} starves itself: {low:.1f} to {high:.1f} V at its supply, it needs {least:g} V"
                break


def buzz(now: Instant, lane: Lane) -> str:
    """One line that names the loop of a chattering instant and its phase."""
    who = now.chattering
    ring = _ring(_needs(now, lane))
    starving = "; ".join(_starving(now, lane))
    rest = [w for w in who if w not in ring]
    if ring:
        text = f"{' ← '.join((*ring, ring[0]))}, for ever"
        text += f", and with them {', '.join(rest)}" if rest else ""
    elif starving:
        text = f"{starving}, for ever; with it {', '.join(who)}"
    else:
        does = "switch each other" if len(who) > 1 else "switches itself"
        text = f"{', '.join(who)} {does} for ever"
    return f"{text}, in {now.phase}"
