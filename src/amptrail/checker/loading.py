"""Rules about currents, wires, fuses and contacts: DESIGN section 9, read from the proof's timelines.

Limits: ISO 8820-3 (a fuse opens within 5 s at twice its rating), ABYC E-11 (80 %), 33 CFR 183.425 Table 5
(ampacity), IEC 60364-4-43 (k = 115), FACTS section 3 (35 A relay), the rest common practice.
"""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.checker.data import Step
from amptrail.checker.shape import COPPER, FUSES, LOADS, Chain, Fuse, Link, area, bears_a, largest_a, listed
from amptrail.checker.told import Mark, Told, amps
from amptrail.circuit import tables
from amptrail.circuit.model import Driver, Fault, Reference, Term, key
from amptrail.twin.overlay import UNSAID_OHM, find

Marks = Iterator[Mark]
UNFUSED_M, UNKNOWN_M = 0.2, 0.5
OPENS, LONG_SHARE, SAME = 2.0, 0.8, 1.02
CARRY_A, MAKE_A, MAKE_MOTOR_A, MAKE_RESTING_A, RESTING = 35.0, 120.0, 65.0, 45.0, 0.7
MOST_W = 3.0
SHORT_LIVE_V = 6.0
MORE_A = 0.05
AS_NOW = 1.2
JOINTS = ("joint", "connector", "box", "splice", "ground", "switch")
UNTOUCHED = ("restraint", "high-voltage", "brakes", "steering")
LEAKS = ("to_ground", "to_supply", "to_point", "swapped")


def refuse_list(t: Told) -> Marks:
    sh = t.shape
    for line in t.job.sheet.refuses if t.feeding else ():
        start = sh.nodes_of(line.part) - sh.ground
        run = set(sh.reach(start, COPPER, sh.own | sh.opened)) - sh.ground
        for c in sh.chains:
            tapped = line.refuse_class in UNTOUCHED and c.source in run
            m = Mark("refuse_list", "any", "any", line.part, float(c.end in run or tapped), 0, "is")
            yield m.noted(sh.repair and c in sh.overlays)


def no_fuse_at_source(t: Told) -> Marks:
    for c in t.shape.chains if t.feeding else ():
        bare = not any(p.kind in FUSES for p in c.parts)
        if c.source not in t.shape.unfused or (bare and c in t.shape.overlays):
            continue  # bare beside a bare wire: as that wire
        metres, fused = 0.0, False
        for p in c.parts:
            if p.kind in FUSES:
                fused = True
                break
            if p.kind == "wire":
                metres += tables.number(p, "length_m")
        if not fused:
            metres = max(metres, UNKNOWN_M)
        name = str(t.shape.bench.names[c.source])
        yield Mark("no_fuse_at_source", "any", "any", name, metres, UNFUSED_M)


def dead_short_not_cleared(t: Told) -> Marks:
    for c in _shorted(t):
        fuse = t.shape.protector(c)
        if fuse is None or c in t.shape.overlays:
            continue
        name = _spelled(t, c.end)
        live = {
            s.phase
            for s in t.mine("asleep")
            if abs(s.point.volts[name]) > SHORT_LIVE_V and t.base(s) != "cranking"
        }
        for phase in sorted(live):
            here = [s for s in t.get("fed", "asleep", None, f"short {c.name}") if s.phase == phase]
            worst = max(here, key=lambda s: abs(amps(s, fuse.name)))
            if not worst.point.state["drivers_tripped"] and not _gone(t, c, worst, fuse):
                a = abs(amps(worst, fuse.name))
                yield Mark("dead_short_not_cleared", "asleep", phase, fuse.name, a,
                           OPENS * fuse.rating_a, "least")  # fmt: skip


def _shorted(t: Told) -> list[Chain]:
    if not t.feeding or not t.nominal:
        return []
    return [c for c in t.shape.chains if not c.coil and not t.shape.ends_on_ground(c)]


def _spelled(t: Told, node: int) -> str:
    here = t.shape.bench.names[node]
    return str(here) if here.name else here.part


def _gone(t: Told, c: Chain, s: Step, fuse: Fuse) -> bool:
    """The source died or let go, or a resistor of the feed or a polymer fuse limits the current to what its
    wire bears."""
    a = min(abs(amps(s, x.name)) for x in c.links)
    if a < 0.1 or (a < 1.0 and abs(s.point.volts[_spelled(t, c.source)]) < 1.0):
        return True
    areas = [x for p in c.parts if p.kind == "wire" and (x := area(p)) is not None]
    limits = (*c.parts, t.shape.parts[key(fuse.name)])
    limited = any(p.kind in ("resistor", "lamp", "heater", "polyfuse") for p in limits)
    return limited and bool(areas) and a <= bears_a(min(areas), t.shape.air_c(c.source, c.end))


def wire_rating(t: Told) -> Marks:
    for c in t.shape.chains if t.feeding else ():
        if c in t.shape.overlays:
            continue  # as the wire it stands in for
        yield from _own_wires(t, c)
        if not c.coil and not t.shape.ends_on_ground(c):
            yield from _old_wires(t, c)


def _own_wires(t: Told, c: Chain) -> Marks:
    air = t.shape.air_c(c.source, c.end)
    fuse = t.shape.protector(c) or _load_fuse(t, c)
    for x, p in zip(c.links, c.parts, strict=True):
        size = area(p) if p.kind == "wire" else None
        if size is None:
            continue
        if fuse is not None:
            yield Mark("wire_rating", "any", "any", p.name, fuse.rating_a, largest_a(size, air))
        for start, s, _ in t.every():
            if t.base(s) != "cranking":
                yield Mark("wire_rating", start, s.phase, p.name, abs(amps(s, x.name)), bears_a(size, air))


def _load_fuse(t: Told, c: Chain) -> Fuse | None:
    """What a new ground carries when a load on it is shorted: all that the load's fuse allows."""
    if not t.shape.ends_on_ground(c):
        return None
    found = []
    for node in t.shape.reach([c.source], COPPER, t.shape.own | t.shape.opened):
        for x in t.shape.near.get(node, ()):
            if x.kind in LOADS and (f := t.shape.upstream(x.far(node))) is not None:
                found.append(f)
    return max(found, key=lambda f: f.rating_a, default=None)


def _old_wires(t: Told, c: Chain) -> Marks:
    """The sheet's wires behind the feed: its fuse, and the old one beside it where that still conducts."""
    sh = t.shape
    fuse, before, now = sh.protector(c), sh.upstream(c.end, whole=True), sh.upstream(c.end)
    if fuse is None:
        return
    total = fuse.rating_a
    if now and _both(t, c, now, fuse):  # one fuse before both ways limits them together
        first = sh.upstream(c.source)
        shared = first is not None and key(first.name) == key(now.name)
        total = max(total, now.rating_a) if shared else total + now.rating_a
    for x in sh.reach([c.end], COPPER, sh.own | sh.opened).values():
        p = sh.parts[key(x.part)] if x is not None and x.kind == "wire" else None
        if x is None or p is None or p.said("area_mm2") is None or (size := area(p)) is None:
            continue
        allowed = max(largest_a(size, sh.air_c(x.a, x.b)), before.rating_a if before else 0.0)
        yield Mark("wire_rating", "any", "any", p.name, total, allowed)


def _both(t: Told, c: Chain, now: Fuse, fuse: Fuse) -> bool:
    if not t.nominal or key(now.name) == key(fuse.name):
        return False
    return any(
        abs(amps(s, now.name)) > now.rating_a and abs(amps(s, fuse.name)) > fuse.rating_a
        for s in t.get("fed", "asleep", None, f"short {c.name}")
    )


def _limits(t: Told) -> dict[str, float]:
    return {f"{d.module}.{d.name}": d.limit_a for d in t.drivers if d.limit_a is not None}


def driver_overcurrent(t: Told) -> Marks:
    limits = _limits(t)
    cold = t.get(t.vehicle, "asleep", None, "cold") if t.nominal else ()
    for start, s in [*((a, s) for a, s, _ in t.every()), *(("asleep", s) for s in cold)]:
        for d in s.point.state["drivers_tripped"]:
            yield Mark("driver_overcurrent", start, s.phase, d, 1, 0, "is")
    for start, s, _ in t.every():
        for d in s.point.state["drivers_on"]:
            if d in limits:
                yield Mark("driver_overcurrent", start, s.phase, d, abs(amps(s, d)), limits[d])


def fuse_opens(t: Told) -> Marks:
    for start, s, _ in t.every():
        for f in s.point.state["fuses_open"]:
            yield Mark("fuse_opens", start, s.phase, f, 1, 0, "is")


def fuse_80_percent(t: Told) -> Marks:
    usual: dict[tuple[str, str], float] = {}
    for h in t.beside("asleep"):
        for f in t.fuses:
            usual[h.phase, f] = max(abs(amps(h, f)), usual.get((h.phase, f), 0.0))
    for start, s, _ in t.every():
        for f in t.fuses if t.lasting(s) else ():
            limit = max(LONG_SHARE * t.rating(f), SAME * usual.get((s.phase, f), 0.0))
            yield Mark("fuse_80_percent", start, s.phase, f, abs(amps(s, f)), limit)


def _contacts(t: Told) -> list[Link]:
    return [x for x in t.shape.links if x.kind == "contact" and not x.name.endswith(".contact")]


def _mine(t: Told, x: Link) -> bool:
    return key(x.part) in t.shape.own_parts


def relay_make(t: Told) -> Marks:
    """Standing motors and cold lamps included."""
    if not t.feeding or not t.nominal:
        return
    fed, healthy = (t.get(v, "asleep", None, "inrush") for v in ("fed", "healthy"))
    motors = [p.name for p in t.job.fed.parts if p.kind == "motor"]
    for x in _contacts(t):
        usual = max(abs(amps(h, x.name)) for h in healthy)
        for s in fed:
            a = abs(amps(s, x.name))
            if not _mine(t, x) and a <= AS_NOW * usual:
                continue
            motor = 2 * sum(abs(amps(s, m)) for m in motors) > a
            limit = MAKE_RESTING_A if x.name.endswith("87a") else MAKE_MOTOR_A if motor else MAKE_A
            yield Mark("relay_make", "asleep", s.phase, x.name, a, limit)


def relay_carry(t: Told) -> Marks:
    for x in _contacts(t) if t.feeding else ():
        usual = max(abs(amps(h, x.name)) for h in t.beside("asleep"))
        for start, s, _ in t.every():
            a = abs(amps(s, x.name))
            if _mine(t, x) or a > AS_NOW * usual:
                limit = CARRY_A * (RESTING if x.name.endswith("87a") else 1.0)
                yield Mark("relay_carry", start, s.phase, x.name, a, limit)


def source_load(t: Told) -> Marks:
    if not t.feeding:
        return
    own = t.shape.own_parts
    wires = []
    for x in t.shape.links:
        p = t.shape.parts[key(x.part)]
        size = (
            area(p)
            if x.kind == "wire" and key(x.part) not in own and p.said("area_mm2") is not None
            else None
        )
        if size is not None:
            wires.append((x, bears_a(size, t.shape.air_c(x.a, x.b))))
    references = [x for x in t.job.sheet.modules if isinstance(x, Reference)]
    for start, s, h in t.every():
        loaded = [] if t.base(s) == "cranking" else wires
        for x, limit in loaded:
            a = abs(amps(s, x.name))
            if a > SAME * abs(amps(h, x.name)) + MORE_A:
                yield Mark("source_load", start, s.phase, x.part, a, limit)
        if t.base(s) == "cranking":
            continue
        for f in t.fuses:
            a = abs(amps(s, f))
            if key(f) not in own and a > SAME * abs(amps(h, f)) + MORE_A:
                yield Mark("source_load", start, s.phase, f, a, t.rating(f))
        for r in references:
            a, usual = amps(s, f"{r.module}.{r.pin}"), amps(h, f"{r.module}.{r.pin}")
            if a > SAME * usual + 1e-6:
                yield Mark("source_load", start, s.phase, f"{r.module}.{r.name}", a, 0.999 * r.limit_a)


def adiabatic_ground(t: Told) -> Marks:
    """A new ground bears becoming the starter's return."""
    if not t.feeding or not t.nominal:
        return
    every = {k.extra for k in t.stories if k.corner == "nominal" and (k.extra or "").startswith("lost ")}
    for c in ground_chains(t):
        # beside a wire it is no worse than that wire when a strap is lost
        lost = [None, *([] if c in t.shape.overlays else sorted(x for x in every if x))]
        for x, p in zip(c.links, c.parts, strict=True):
            size = area(p) if p.kind == "wire" else None
            for name in lost if size is not None else ():
                before = 0.0
                for s in t.get("fed", "asleep", None, name):
                    if t.base(s) == "cranking":
                        heat = amps(s, x.name) ** 2 * (s.t_s - before)
                        limit = listed(size or 0.0).adiabatic_a2s
                        yield Mark("adiabatic_ground", "asleep", s.phase, p.name, heat, limit)
                    before = s.t_s


def ground_chains(t: Told) -> list[Chain]:
    return [c for c in t.shape.chains if not c.coil and t.shape.ends_on_ground(c)]


def ground_copper(t: Told) -> list[str]:
    """Wires, straps and joints of the sheet between metals that are all ground."""
    g = t.shape.ground
    return [
        x.name
        for x in t.shape.links
        if x not in t.shape.own and x.a in g and x.b in g and x.kind in ("wire", "joint", "ground")
    ]


def joint_heat(t: Told) -> Marks:
    ohms: dict[str, float] = {}
    for e in t.shape.bench.out:
        name = str(e.branch) if e.branch.name else e.branch.part
        p = t.shape.parts.get(key(e.branch.part))
        if p is not None and p.kind in JOINTS and e.law == "res":
            ohms[name] = e.p[0]
    for f in t.job.faults if t.feeding else ():
        if f.mode == "resistance":
            for i in find(t.shape.bench, f.at):
                b = t.shape.bench.out[i].branch
                name = str(b) if b.name else b.part
                ohms[name] = ohms.get(name, 0.0) + (f.ohm if f.ohm is not None else UNSAID_OHM["resistance"])
    for start, s, _ in t.every():
        if t.base(s) != "cranking":
            for name, ohm in ohms.items():
                yield Mark("joint_heat", start, s.phase, name, amps(s, name) ** 2 * ohm, MOST_W)


def old_path(t: Told) -> Marks:
    sh = t.shape
    for f in t.job.faults if t.feeding else ():
        name = str(f.at) if f.at.name else f.at.part
        for c in sh.chains:
            if c.coil:
                continue
            if f.mode in LEAKS:
                yield Mark("old_path", "any", "any", name, float(_joined(t, f, c)), 0, "is")
            elif f.mode in ("open", "resistance") and not t.job.feed.cuts:
                yield Mark("old_path", "any", "any", name, 1, 0, "is").noted()


def _joined(t: Told, f: Fault, c: Chain) -> bool:
    at = f.at if f.at.name else Term(f.at.part, "in")
    node = t.shape.bench.known(at.part, at.name)
    return node is None or node in t.shape.reach([c.end], COPPER, t.shape.own | t.shape.opened)


def suppression(t: Told) -> Marks:
    sh = t.shape
    for c in sh.chains if t.feeding else ():
        if not c.coil:
            continue
        relay = next(p for p in c.parts if p.kind == "relay")
        bare = tables.value(relay, "suppressed") in (None, "none", False)
        near = set(sh.reach([c.source, c.end], COPPER, sh.own)) - sh.ground
        pins = [x for x in t.job.sheet.modules
                if hasattr(x, "pin") and sh.bench.known(x.module, x.pin) in near]  # fmt: skip
        m = Mark("suppression", "any", "any", relay.name, float(bare and bool(pins)), 0, "is")
        yield m.noted(not any(isinstance(x, Driver) for x in pins))
