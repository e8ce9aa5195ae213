"""`draw`: the circuit as a picture, with what each point reads, a trail, a feed or a fault laid over it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING

from amptrail.circuit.model import Circuit, Fault, Feed, Phase, Term, key
from amptrail.circuit.phases import closed, drive_cycle, position
from amptrail.circuit.wiring import wiring
from amptrail.draw import Overlay, Theme, draw
from amptrail.errors import Problem, one
from amptrail.instruments import by_name
from amptrail.jobs.base.context import Json, answer, load
from amptrail.jobs.base.faultnames import fault_json, named_or_text
from amptrail.jobs.solved.feeds import find_feed, overlay
from amptrail.jobs.solved.own import STANDARD, Own
from amptrail.sheet import fault_text

if TYPE_CHECKING:
    from amptrail.jobs.solved.session import PhaseState

VOLTS = ("meter", "lamp", "loaded", "led")
SMALL = 0.5e-3  # V or A: below this a drawing says 0
IN_SERIES = ("wire", "joint")  # they carry what their neighbours carry: amps are not written at each


@dataclass(frozen=True, slots=True)
class DrawOptions:
    """`phase` fills in readings with `instrument` (one of VOLTS, or clamp); `trail` fades all but what the
    current through that point passes, `only` leaves the rest out; `plain` is black on white for paper."""

    phase: str | None = None
    instrument: str | None = None
    fault: tuple[str, ...] = ()
    feed: str | None = None
    trail: str | None = None
    plain: bool = False
    only: bool = False
    own: Own = STANDARD  # the instruments in hand


def _figure(value: float, unit: str) -> str:
    """Volts or amps as a meter shows them."""
    if abs(value) < SMALL:
        return f"0 {unit}"
    return f"{value:.2f} {unit}" if abs(value) >= 0.1 else f"{value * 1000:.1f} m{unit}"


def _checked(circuit: Circuit, o: DrawOptions) -> str | None:
    """The phase, when the drawing needs one; InputError when it is needed and not named."""
    if o.instrument is not None and o.instrument not in (*VOLTS, "clamp"):
        raise one("no-drawing", f"a drawing has no readings of {o.instrument}",
                  expected=(*VOLTS, "clamp"), remedy="ask `expect` for that instrument")  # fmt: skip
    if o.only and o.trail is None:
        raise one("no-trail", "there is no trail to draw alone", remedy="add --trail POINT")
    if o.phase is None and (o.instrument is not None or o.trail is not None):
        cycle = tuple(p.name for p in drive_cycle(circuit))
        raise one("no-phase", "what is read depends on the phase, and none is named",
                  expected=cycle, remedy="add --phase PHASE")  # fmt: skip
    return o.phase


@dataclass(frozen=True, slots=True)
class _Read:
    volts: tuple[tuple[str, str], ...]
    amps: tuple[tuple[str, str, bool], ...]
    closed: frozenset[str] = frozenset()
    notes: tuple[tuple[str, str], ...] = ()
    doubts: tuple[Problem, ...] = ()
    status: str | None = None


def _read(circuit: Circuit, phase: str, faults: tuple[Fault, ...], instrument: str | None, own: Own) -> _Read:
    """Words for every metal (volts by the instrument) and every part (amps), in a phase."""
    from amptrail.jobs.expect import pick_phases
    from amptrail.jobs.solved.reach import reasons
    from amptrail.jobs.solved.session import session
    from amptrail.jobs.solved.spots import Spot, battery_minus

    (index,) = pick_phases(circuit, (phase,))
    ready = session(circuit)
    runs = ready.run([ready.lane(faults)], "asleep", 2, [index])
    joined = wiring(circuit)
    ground = joined.node(battery_minus(circuit))
    metals = [t for n, t in enumerate(joined.names) if n != ground]
    volts: list[tuple[str, str]] = []
    if instrument != "clamp":
        tool = by_name(own.name(instrument or "meter"))
        asked = [(Spot(str(t), "volts", t), tool.name) for t in metals]
        rows = ready.read_all(runs, asked, [index], bands=False)[0][0]
        for term, got in zip(metals, rows, strict=True):
            if got.value is not None:
                volts.append((str(term), _figure(got.value + tool.offset, "V")))
            elif got.alternates:
                low, high = (_figure(v + tool.offset, "V") for v in got.alternates)
                volts.append((str(term), f"{low} … {high}"))
    series = {key(p.name) for p in circuit.parts if p.kind in IN_SERIES}
    series |= {key(f"{c.connector}.{c.name}") for c in circuit.cavities}
    sources = {key(p.name) for p in circuit.parts if p.kind in ("battery", "alternator")}
    amps = []
    for b, name in enumerate(ready.network.branches):
        if key(name) not in series:
            value = float(runs.snapshot.amps[0, 0][b])
            # a source is counted from its minus to its plus, so what it gives comes out at the upper end
            amps.append((name, _figure(abs(value), "A"), (value >= 0.0) != (key(name) in sources)))
    told = ready.state(runs, 0, index)
    state = told.state
    phase_now = drive_cycle(circuit)[index]
    shut = _closed(circuit, phase_now, faults, set(state["relays_energised"]))
    return _Read(
        tuple(volts),
        tuple(amps),
        shut,
        _notes(circuit, state, shut),
        _doubt(phase, told, reasons(circuit, runs, 0).get(index)),
        told.status,
    )


def _doubt(phase: str, told: PhaseState, why_not: str | None) -> tuple[Problem, ...]:
    """A drawing shows one state; where that is not the whole truth, say so."""
    if why_not:
        return (Problem("unreachable", f"{phase} cannot come about: {why_not}",
                        severity="warning", remedy="read it as what would be, not as what is"),)  # fmt: skip
    if told.status == "settled":
        return ()
    who = f" ({', '.join(told.chatter)})" if told.chatter else ""
    return (Problem("unsettled", f"{phase} does not settle: {told.status}{who}", severity="warning",
                    remedy="figures are of one moment; ask `cycle` what happens in time"),)  # fmt: skip


def _closed(circuit: Circuit, phase: Phase, faults: tuple[Fault, ...], pulled: set[str]) -> frozenset[str]:
    """Contacts closed in a phase, by branch name; a contact welded or burnt is as the fault says."""
    stuck = {key(f.at.part): f.mode == "stuck_on" for f in faults if f.mode in ("stuck_on", "stuck_off")}
    out: set[str] = set()
    for p in circuit.parts:
        at = stuck.get(key(p.name))
        if p.kind == "relay":
            out.add(f"{p.name}.{'87' if (p.name in pulled if at is None else at) else '87a'}")
        elif p.kind == "starter" and p.name in pulled:
            out.add(p.name)
        elif p.kind == "switch" and p.contacts:
            positions = p.said("positions")
            now = position(circuit, p.name, positions, phase) if isinstance(positions, tuple) else ""
            out |= {f"{p.name}.{c.a}-{c.b}" for c in p.contacts if (now in c.at if at is None else at)}
        elif p.kind == "switch" and (closed(circuit, p, phase) if at is None else at):
            out.add(p.name)
    return frozenset(out)


def _notes(circuit: Circuit, state: Json, shut: frozenset[str]) -> tuple[tuple[str, str], ...]:
    """What a person would want to know of a part's state, in words."""
    out = [(k, "pulled in") for k in state["relays_energised"]]
    out += [(f, "open") for f in state["fuses_open"]]
    for p in circuit.parts:
        if p.kind == "switch" and p.name in shut:
            out.append((p.name, "closed"))
        elif p.kind == "module":
            out.append((p.name, "awake" if p.name in state["modules_awake"] else "asleep"))
    for kind, words in (("drivers_on", "on"), ("drivers_tripped", "tripped")):
        by_module: dict[str, list[str]] = {}
        for d in state[kind]:
            module, _, name = d.partition(".")
            by_module.setdefault(module, []).append(name)
        out += [(m, f"{words}: {', '.join(names)}") for m, names in by_module.items()]
    return tuple(out)


def _trail(text: str, o: DrawOptions, phase: str) -> frozenset[str]:
    from amptrail.jobs.trail import trail

    got = trail(text, o.trail or "", phase, o.fault, o.feed)
    return frozenset(p for t in got["trails"] for p in t["parts"])


def _laid_over(
    text: str, circuit: Circuit, o: DrawOptions, faults: tuple[Fault, ...], feed: Feed | None
) -> tuple[Overlay, _Read]:
    phase = _checked(circuit, o)
    read = _Read((), ())
    trail: frozenset[str] | None = None
    if phase is not None:
        read = _read(circuit, phase, faults, o.instrument, o.own)
    if phase is not None and o.trail is not None:
        trail = _trail(text, o, phase)
        lit = {key(b) for b in trail}
        read = replace(read, amps=tuple(a for a in read.amps if key(a[0]) in lit))
    elif o.instrument != "clamp":
        read = replace(read, amps=())
    marks = tuple((_where(f), f"fault: {fault_text(circuit, (f,))}") for f in faults)
    over = Overlay(
        readings=read.volts,
        amps=read.amps,
        trail=trail,
        feed=frozenset(p.name for p in feed.parts) if feed else frozenset(),
        feed_name=feed.name if feed else "",
        cuts=frozenset(feed.cuts) if feed else frozenset(),
        faults=marks,
        closed=read.closed,
        notes=read.notes,
        only=o.only,
    )
    return over, read


def _where(fault: Fault) -> Term:
    return fault.at if fault.at.part else Term(fault.at.name, "")


def drawing(sheet_text: str, options: DrawOptions = DrawOptions()) -> Json:
    """The circuit as SVG text with its metrics (docs/json.md, draw)."""
    sheet = load(sheet_text)
    feed = find_feed(sheet.circuit, options.feed) if options.feed else None
    circuit = overlay(sheet.circuit, feed) if feed else sheet.circuit
    faults = tuple(f for text in options.fault for f in named_or_text(circuit, text))
    over, read = _laid_over(sheet_text, circuit, options, faults, feed)
    theme: Theme = "print" if options.plain else "screen"
    picture = draw(circuit, over, theme)
    body = {
        "svg": picture.svg,
        "metrics": asdict(picture.metrics),
        "points": [{"point": p, "x_px": x, "y_px": y} for p, x, y in picture.points],
        "title": circuit.title,
        "phase": options.phase,
        "status": read.status,
        "instrument": (options.instrument or "meter") if options.phase else None,
        "faults": [fault_json(circuit, f) for f in faults],
        "feed": options.feed,
        "trail": options.trail,
        "theme": theme,
    }
    return answer("draw", sheet, body, problems=read.doubts)
