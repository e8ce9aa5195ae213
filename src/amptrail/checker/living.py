"""Rules about what works, stops, sleeps and wakes: DESIGN section 9, read from the proof's timelines."""

from __future__ import annotations

from collections.abc import Iterator

from amptrail.checker.data import Step
from amptrail.checker.shape import COPPER, FUSES, LOADS, Link
from amptrail.checker.told import Found, Mark, Told, active, amps, longer, metal
from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Draw, GroundPin, Reference, Supply, Term, key
from amptrail.circuit.phases import sleeping
from amptrail.circuit.supply import returning
from amptrail.twin.overlay import switch_made

Marks = Iterator[Mark]
REVERSE_A, OVER = 0.005, 1.1  # pushed back through an output (oracle SCHEMA, Jumper files)
RAIL_V, TWICE = 3.0, 2.0  # a rail above wakes what hangs on it (common practice)
LOAD_TIMES = 1.3  # of what a load has in the sound vehicle, and of one battery (common practice)
SENSOR_TIMES = 1.2  # of what a reference makes (common practice)
STOPPED_V, RUNS_V = 1.0, 3.0  # a load is still below, and runs above (common practice)
SWITCHED_ON = FUSES | {"switch", "contact", "module"}


def _wanted(t: Told, start: str) -> list[Found]:
    return [f for f in t.found(t.vehicle, t.mine(start)) if f.wanted == "on"]


def _counts(t: Told, f: Found) -> bool:
    """Too few volts in the cold are a matter of drop."""
    return not (t.corner == "cold" and f.weak)


def restores_from_asleep(t: Told) -> Marks:
    for f in _wanted(t, "asleep"):
        if not f.after_run and _counts(t, f):
            yield t.mark("restores_from_asleep", "asleep", f)


def restarts(t: Told) -> Marks:
    for start in t.starts:
        for f in _wanted(t, start) if start != "asleep" else ():
            if (f.step.pass_no > 0 or start in t.named) and not f.after_run and _counts(t, f):
                yield t.mark("restarts", start, f)


def works_fitted_awake(t: Told) -> Marks:
    for start in t.awake:
        for f in _wanted(t, start):
            if f.step.pass_no == 0 and not f.after_run and _counts(t, f):
                yield t.mark("works_fitted_awake", start, f)


def after_run(t: Told) -> Marks:
    for start in t.starts:
        for f in _wanted(t, start):
            if f.after_run and _counts(t, f):
                yield t.mark("after_run", start, f)


def voltage_drop(t: Told) -> Marks:
    for start in t.starts if t.corner == "cold" else ():
        for f in _wanted(t, start):
            if (f.ok or f.weak) and not f.must.module:
                yield t.mark("voltage_drop", start, f)


def dead_lock(t: Told) -> Marks:
    night = [f for f in _wanted(t, "asleep") if f.step.pass_no == 1]
    for start in t.awake:
        works = [f for f in _wanted(t, start) if f.step.fit and f.ok]
        for f in works:
            for g in night:
                spoilt = g.step.point.state["fuses_open"] or g.step.point.state["drivers_tripped"]
                if g.must == f.must and g.step.phase == f.step.phase and not g.ok and not spoilt:
                    yield Mark("dead_lock", "asleep", g.step.phase, f.must.name, 0, 1, "is")


def off_when_required(t: Told) -> Marks:
    for start in t.starts:
        for f in t.found(t.vehicle, t.mine(start)):
            if f.wanted == "off":
                yield t.mark("off_when_required", start, f).noted(t.may_run_longer(f.must))


def _awake(s: Step) -> set[str]:
    return {key(m) for m in s.point.state["modules_awake"]}


def sleeps(t: Told) -> Marks:
    usual = _awake(t.bed(t.beside("asleep")))
    modules = [p.name for p in t.job.sheet.parts if p.kind == "module"]
    for start in t.starts:
        bed = t.bed(t.mine(start))
        for m in modules:
            if key(m) not in usual:
                yield Mark("sleeps", start, bed.phase, m, float(key(m) in _awake(bed)), 0, "is")
    for start in t.starts if t.feeding else ():
        trio = zip(t.mine(start), t.beside(start), t.get("faulty", start), strict=True)
        for s, healthy, faulty in trio:
            for m in (_awake(healthy) & _awake(faulty)) - _awake(s):
                yield Mark("sleeps", start, s.phase, m, 0, 1, "is")


def _limit(t: Told) -> float | None:
    bed = sleeping(t.job.sheet)
    draws: tuple[Draw, ...] = t.job.sheet.draws
    return next((d.max_a for d in draws if key(d.phase) in (key(bed.name), key(bed.base))), None)


def sleep_current(t: Told) -> Marks:
    limit = _limit(t)
    batteries = returning(t.circuit_of(t.vehicle))
    for start in t.starts if limit is not None else ():
        bed = t.bed(t.mine(start))
        total = sum(amps(bed, name) for name in batteries)
        yield Mark("sleep_current", start, bed.phase, batteries[0], total, limit or 0.0)


def permanently_on(t: Told) -> Marks:
    first, usual = t.mine("asleep")[0], t.beside("asleep")[0]
    for word in active(first) - active(usual):
        yield Mark("permanently_on", "asleep", first.phase, word, 1, 0, "is")


def self_holding(t: Told) -> Marks:
    healthy = t.beside("asleep")
    usual = active(t.mine("asleep")[0]) | active(healthy[0]) | active(t.bed(healthy))
    for start in t.starts:
        bed = t.bed(t.mine(start))
        for word in active(bed) - usual:
            yield Mark("self_holding", start, bed.phase, word, 1, 0, "is")


def chatter(t: Told) -> Marks:
    for start, s, _ in t.every():
        for word in s.point.buzzing if s.status == "chatter" else ():
            yield Mark("chatter", start, s.phase, word, 1, 0, "is")


# ---- back-feed ------------------------------------------------------------------------------------------
def _reverse(t: Told, s: Step) -> dict[str, float]:
    found = {}
    for d in t.drivers:
        name = f"{d.module}.{d.name}"
        found[name] = amps(s, f"{name}.diode") - amps(s, name)
    return found


def back_feed(t: Told) -> Marks:
    usual: dict[tuple[str, str], float] = {}
    for h in t.beside("asleep"):
        for name, a in _reverse(t, h).items():
            usual[h.phase, name] = max(a, usual.get((h.phase, name), 0.0))
    rails = _rails(t) if t.feeding else []
    yield from _too_high(t)
    for start, s, h in t.every():
        for name, a in _reverse(t, s).items():
            limit = max(REVERSE_A, OVER * usual.get((s.phase, name), 0.0) + REVERSE_A)
            yield Mark("back_feed", start, s.phase, name, max(a, 0.0), limit)
        if t.feeding:
            yield from _woken(t, start, s, h)
            if "chatter" not in (s.status, h.status):
                yield from _live_rails(t, start, s, h, rails)
            if s.status != "chatter":
                yield from _sensor_rails(t, start, s)


def _too_high(t: Told) -> Marks:
    """No consumer gets more than its share of several batteries."""
    block = max((tables.number(p, "emf_v") for p in t.job.sheet.parts if p.kind == "battery"), default=0.0)
    loads = [p for p in t.job.sheet.parts if p.kind in LOADS and p.kind != "starter"]
    usual = {p.name: max(t.load_volts("healthy", h, p) for h in t.beside("asleep")) for p in loads}
    for start, s, _ in t.every() if t.feeding else ():
        for p in loads if s.status != "chatter" else ():
            limit = LOAD_TIMES * max(usual[p.name], block)
            yield Mark("back_feed", start, s.phase, p.name, t.load_volts(t.vehicle, s, p), limit)
    fed = _windings_and_supplies(t.job.sheet)
    most = {name: max(_highest(t, "healthy", h, ends) for h in t.beside("asleep")) for name, ends in fed}
    for start, s, _ in t.every() if t.feeding else ():
        for name, ends in fed if s.status != "chatter" else ():
            limit = LOAD_TIMES * max(most[name], block)
            yield Mark("back_feed", start, s.phase, name, _highest(t, t.vehicle, s, ends), limit)


def _windings_and_supplies(sheet: Circuit) -> list[tuple[str, tuple[Term, Term]]]:
    """What is fed besides loads, and between which terminals."""
    ends = [(p.name, (Term(p.name, "86"), Term(p.name, "85"))) for p in sheet.parts if p.kind == "relay"]
    for x in (x for x in sheet.modules if isinstance(x, Supply)):
        own = [g for g in sheet.modules if isinstance(g, GroundPin) and key(g.module) == key(x.module)]
        if own:
            ends.append((f"{x.module}.{x.pin}", (Term(x.module, x.pin), Term(x.module, own[-1].pin))))
    return [(n, e) for n, e in ends if all(metal(sheet, t) is not None for t in e)]


def _highest(t: Told, vehicle: str, s: Step, ends: tuple[Term, Term]) -> float:
    return max(abs(v) for v in t.across(vehicle, s, *ends))


def _sensor_rails(t: Told, start: str, s: Step) -> Marks:
    """Nothing that a reference of a module feeds, broken leads taken as whole, stands above its volts."""
    for x in t.job.sheet.modules if t.feeding else ():
        if isinstance(x, Reference):
            run = t.shape.reach([t.shape.bench.node(x.module, x.pin)], COPPER, t.shape.own)
            names = (str(h) if h.name else h.part for h in (t.shape.bench.names[n] for n in run))
            volts = [abs(s.point.volts[n]) for n in names if n in s.point.volts]
            yield Mark("back_feed", start, s.phase, f"{x.module}.{x.pin}", max(volts), SENSOR_TIMES * x.volts)


def _woken(t: Told, start: str, s: Step, h: Step) -> Marks:
    alive, usual = s.point.state["modules_alive"], h.point.state["modules_alive"]
    for m in alive - usual:
        yield Mark("back_feed", start, s.phase, m, 1, 0, "is")
    if t.base(s) != "asleep":
        for m in _awake(s) - _awake(h):
            yield Mark("back_feed", start, s.phase, m, 1, 0, "is")


def _rails(t: Told) -> list[int]:
    """Metals of the sheet behind a fuse, switch or contact that feed a module or several consumers."""
    shape = t.shape
    off = shape.own | shape.opened
    done = set(shape.ground) | {shape.plus}
    found = []
    for x in shape.links:
        if x in off or x.kind not in FUSES | {"switch", "contact"}:
            continue
        for node in (x.a, x.b):
            if node in done:
                continue
            run = shape.reach([node], COPPER, off)
            done |= set(run)
            wide = shape.reach(run, COPPER | FUSES, shape.own)
            there = {y for n in wide for y in shape.near.get(n, ()) if y not in shape.own}
            users = {key(y.part) for y in there if y.kind in LOADS | {"coil", "diode", "module"}}
            if len(users) > 1 or any(y.kind == "module" for y in there):
                found.append(node)
    return found


def _closed(t: Told, s: Step, x: Link) -> bool:
    st = s.point.state
    part = t.shape.parts[key(x.part)]
    if x.kind == "switch":
        tail = x.name.removeprefix(part.name).removeprefix(".")
        told = (part.name, tail) if tail else (part.name,)
        return switch_made(t.job.fed, part, told, t.phases[s.phase])
    if x.kind == "contact":
        made = part.name in st["relays_energised"]
        return made != x.name.endswith(".87a")
    if x.kind in FUSES:
        return part.name not in st["fuses_open"]
    drivers = {key(f"{d.module}.{d.name}") for d in t.drivers}
    if key(x.name) in drivers:
        return key(x.name) in {key(n) for n in st["drivers_on"]}
    return True


def _forward(t: Told, s: Step) -> set[int]:
    """Metals live as they are meant to be: from a source through the sheet's own closed gates."""
    shape = t.shape
    off = set(shape.own | shape.opened)
    off |= {x for x in shape.links if x.kind in SWITCHED_ON and not _closed(t, s, x)}
    sources = [shape.plus]
    sources += [shape.bench.node(p.name, "B+") for p in t.job.fed.parts if p.kind == "alternator"]
    return set(shape.reach(sources, COPPER | SWITCHED_ON, off))


def _live_rails(t: Told, start: str, s: Step, h: Step, rails: list[int]) -> Marks:
    forward: set[int] | None = None
    for node in rails:
        here = t.shape.bench.names[node]
        name = str(here) if here.name else here.part
        if name not in s.point.volts:
            continue
        usual = abs(h.point.volts[_sheet_name(t, node)])
        volts = abs(s.point.volts[name])
        if usual > RAIL_V:
            continue
        limit = max(RAIL_V, TWICE * usual)
        if volts > limit:
            forward = _forward(t, s) if forward is None else forward
            if node in forward:
                continue
        yield Mark("back_feed", start, s.phase, name, volts, limit)


def _sheet_name(t: Told, node: int) -> str:
    """What the sheet without the feed calls this metal."""
    for (part, name), n in t.shape.bench.wiring.node_of.items():
        if n == node:
            found = metal(t.job.sheet, Term(part, name))
            if found is not None:
                return found
    raise AssertionError("a rail of the sheet has a name in it")


# ---- what must stop -------------------------------------------------------------------------------------
def interlock(t: Told) -> Marks:
    for i in t.job.sheet.interlocks:
        for start in ("asleep", *t.awake):
            fed = t.found(t.vehicle, t.mine(start, i.switch))
            healthy = t.found("healthy", t.beside(start, i.switch))
            for f, h in zip(fed, healthy, strict=True):
                mine = f.wanted == "on" and key(f.must.name) == key(i.function) and f.step.pass_no > 0
                if mine and not h.ok:
                    yield Mark("interlock", start, f.step.phase, f.must.name, float(f.ok), 0, "is")
    yield from _other_switches(t)


def _other_switches(t: Told) -> Marks:
    """From asleep, with any one switch or output that cannot close."""
    named = {(key(i.switch), key(i.function)) for i in t.job.sheet.interlocks}
    usual = t.found("healthy", t.beside("asleep"))
    held = dict.fromkeys(k.held for k in t.stories if k.corner == t.corner and k.start == "asleep" and k.held)
    for name in held:
        fed, healthy = (t.found(v, t.get(v, "asleep", name)) for v in (t.vehicle, "healthy"))
        for f, h, u in zip(fed, healthy, usual, strict=True):
            asked = f.wanted == "on" and not f.must.module
            off = f.must.max_off_v
            dead = not h.ok and (off is None or abs(h.value) <= off)
            if asked and (key(name), key(f.must.name)) not in named and u.ok and dead:
                m = Mark("interlock", "asleep", f.step.phase, f.must.name, float(f.ok), 0, "is")
                yield m.noted(t.purpose == "try")


def stop_function(t: Told) -> Marks:
    parts = [p for p in t.job.sheet.parts if p.kind in LOADS and not longer(p)]
    for start, s, h in t.every():
        base = t.base(s)
        if base in ("after-run", "asleep") or (start in t.named and base == "ignition-on"):
            for p in parts:
                if t.load_volts("healthy", h, p) <= STOPPED_V:
                    volts = t.load_volts(t.vehicle, s, p)
                    yield Mark("stop_function", start, s.phase, p.name, volts, RUNS_V)


def on_time(t: Told) -> Marks:
    """Half-way between the times of the timers a load is as on or off as in the healthy vehicle."""
    if not t.feeding or not t.nominal:
        return
    fed, healthy = (t.get(v, "asleep", None, "half") for v in ("fed", "healthy"))
    works = {f.must for f in _wanted(t, "asleep") if f.ok}
    for m in t.job.sheet.musts:
        if m.a is None or m.b is None or m.min_v is None or m not in works:
            continue
        off = m.max_off_v if m.max_off_v is not None else m.min_v / 4

        def volts(vehicle: str, s: Step, a: Term = m.a, b: Term = m.b) -> float:
            return min(abs(v) for v in t.across(vehicle, s, a, b))

        for n, (s, h) in enumerate(zip(fed, healthy, strict=True)):
            last = n
            while last + 1 < len(fed) and fed[last + 1].phase == s.phase:
                last += 1
            ends = [volts("fed", fed[last]), volts("healthy", healthy[last])]
            if last == n or s.pass_no == 0 or len({(v >= m.min_v, v <= off) for v in ends}) != 1:
                continue
            now, usual = volts("fed", s), volts("healthy", h)
            if usual >= m.min_v:
                yield Mark("on_time", "asleep", s.phase, m.name, now, m.min_v, "least")
            elif usual <= off:
                yield Mark("on_time", "asleep", s.phase, m.name, now, off).noted(t.may_run_longer(m))
