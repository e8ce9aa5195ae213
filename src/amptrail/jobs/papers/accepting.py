"""What a repair must show before it is handed over: `0.1 V or less from X to Y while Z runs`, with the amps.

A drop alone says nothing: the allowed figures of the trade contradict each other until the current stands
beside them (JOB.md section 4). Limits: reference/drop_limits.csv. The current and the load are the sound
vehicle's own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from amptrail.circuit.model import BODY, Circuit, Fault, Must, Part, Term, key
from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.base.figures import figure
from amptrail.jobs.judging.claims import Pair, served, terminals
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.predicted import Solved
from amptrail.reference.rows import rows

# kind of part -> row of reference/drop_limits.csv
LIMIT_OF = {
    "wire": "wire or cable", "joint": "high-current connection", "connector": "high-current connection",
    "splice": "high-current connection", "fuse": "high-current connection", "ground": "ground path",
    "switch": "switch or solenoid contact", "relay": "switch or solenoid contact",
    "link": "high-current connection", "box": "high-current connection", "battery": "high-current connection",
}  # fmt: skip
SHORTS = ("to_ground", "to_supply", "to_point", "stuck_on")
CLEAR_OHM = 100_000.0  # from there on nothing flows that a fuse or a lamp would show (common practice)
SHARED = 1.3  # a load that takes more than this times what flows through the element is not fed by it alone
SOUND_TIMES = 1.25  # where a long wire loses more by itself than the trade allows (common practice)


@dataclass(frozen=True, slots=True)
class Drop:
    """A drop that must not be exceeded between two points, while so much flows for what runs."""

    a: Term
    b: Term
    limit_v: float
    amps: float
    runs: str
    phase: str

    @property
    def words(self) -> str:
        """In one line."""
        flows = f", about {figure(self.amps, 'A')}" if self.amps > 0 else ""
        so = f"{self.limit_v:g} V or less from {self.a} to {self.b}"
        return f"{so} while {self.runs} ({self.phase}{flows})"


def _part(circuit: Circuit, name: str) -> Part | None:
    return next((p for p in circuit.parts if key(p.name) == key(name)), None)


def _ends(circuit: Circuit, part: Part, at: Term) -> tuple[Term, Term] | None:
    """The two points a meter goes to: the terminals of the blamed element, a ground's leg and the metal."""
    found = list(terminals(circuit, at))
    if part.kind == "relay":
        contact = [t for t in found if key(t.name) in ("30", "87", "87a")]
        found = contact if len(contact) > 1 else found
    if part.kind == "ground":
        found = [*found[:1], BODY]
    return (found[0], found[1]) if len(found) > 1 else None


def _drop(circuit: Circuit, part: Part, f: Fault, limit_v: float) -> Drop | None:
    """The drop across the repaired element, in the phase in which it carries most."""
    ends = _ends(circuit, part, f.at)
    users = served(circuit, f.at)
    if ends is None or not users:
        return None
    got = solving.solved(circuit, [()], Conditions(), keep=False)
    phases = range(len(drive_cycle(circuit)))
    own = _element(got, f.at, part)
    through = [abs(float(got.amps(own, p)[0])) if own is not None else 0.0 for p in phases]
    if own is None:
        through = [max(_amps(got, u, p) for u in users) for p in phases]
    p = max(phases, key=lambda k: through[k])
    # what it feeds: of the users the largest that takes no more than flows here
    fed = [u for u in users if _amps(got, u, p) <= SHARED * through[p]] or list(users)
    user = max(fed, key=lambda u: (_amps(got, u, p), _across(got, u, p)))
    sound = abs(float(got.volts(*ends, p)[0]))
    allowed = limit_v if sound <= limit_v else math.ceil(sound * SOUND_TIMES * 100) / 100
    kind = next((x.kind for x in circuit.parts if x.name == user[0].part), "")
    does = {"relay": "is pulled in", "module": "is fed", "lamp": "is lit"}.get(kind, "runs")
    return Drop(*ends, allowed, through[p], f"{user[0].part} {does}", drive_cycle(circuit)[p].name)


def _element(got: Solved, at: Term, part: Part) -> str | None:
    """The branch of the blamed element."""
    names = got.session.network.branch_of
    wanted = [str(at) if at.name else part.name, *([f"{part.name}.87"] if part.kind == "relay" else [])]
    return next((n for n in wanted if key(n) in names), None)


def _amps(got: Solved, user: Pair, phase: int) -> float:
    """Current of a load or winding; 0 for a pin of a module, whose volts stand for it."""
    net = got.session.network
    name = f"{user[0].part}.coil" if user[0].name == "86" else user[0].part
    return abs(float(got.amps(name, phase)[0])) if key(name) in net.branch_of else 0.0


def _across(got: Solved, user: Pair, phase: int) -> float:
    return abs(float(got.volts(*user, phase)[0]))


def _clear(circuit: Circuit, f: Fault) -> str:
    """A short or a contact that did not open: nothing may pass there any more."""
    clear = f"over {CLEAR_OHM / 1000:g} kohm"
    if f.mode == "stuck_on":
        part = _part(circuit, f.at.part)
        ends = _ends(circuit, part, f.at) if part is not None else None
        between = f"from {ends[0]} to {ends[1]}" if ends else f"across {f.at.part}"
        return f"{clear} {between} when it is not worked, the battery off"
    to = {"to_ground": "body", "to_supply": "the supply"}.get(f.mode, str(f.to) if f.to else "its neighbour")
    return f"{clear} from {f.at if f.at.name else f.at.part} to {to}, its plugs apart and the battery off"


def _of_fault(circuit: Circuit, f: Fault, limits: dict[str, float]) -> str | None:
    if f.mode in SHORTS:
        return _clear(circuit, f)
    part = _part(circuit, f.at.part)
    row = LIMIT_OF.get(part.kind) if part else None
    if part is None or row is None:
        return None
    if part.kind == "battery":
        return f"{limits[row]:g} V or less from each post of {part.name} to its clamp while most flows"
    drop = _drop(circuit, part, f, limits[row])
    if drop is not None:
        return drop.words
    name = f"{part.name}.{f.at.name}" if f.at.name and part.kind in ("connector", "relay") else part.name
    return f"{limits[row]:g} V or less across {name} while its load runs"


def _of_must(m: Must) -> Iterator[str]:
    if m.a is not None and m.min_v is not None:
        to = f"{m.a.part}.{m.a.name}" + (f" to {m.b.part}.{m.b.name}" if m.b else "")
        yield f"{m.name}: {to} {m.min_v:g} V or more in {', '.join(m.on)}"
    if m.max_off_v is not None and m.off:
        yield f"{m.name}: {m.max_off_v:g} V or less in {', '.join(m.off)}"
    if m.signal is not None:
        is_on = "is awake" if key(m.signal) == "awake" else f"{m.signal} is on"
        on = f"{is_on} in {', '.join(m.on)}" if m.on else ""
        off = f"{'' if on else m.signal + ' '}not in {', '.join(m.off)}" if m.off else ""
        yield f"{m.name}: {m.module} {'; '.join(x for x in (on, off) if x)}"


def acceptance(circuit: Circuit, faults: Sequence[Fault]) -> tuple[str, ...]:
    """Figures a repair must show: drops over what was repaired, and every function the sheet says must
    hold."""
    limits = {r["what"]: float(r["volts"]) for r in rows("drop_limits")}
    found = [x for f in faults if (x := _of_fault(circuit, f, limits))]
    found += [x for m in circuit.musts for x in _of_must(m)]
    found += [f"{d.max_a * 1000:g} mA or less in {d.phase}" for d in circuit.draws]
    return tuple(dict.fromkeys(found))
