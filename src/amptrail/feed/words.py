"""One sentence for every verdict that a shop owner understands, made from the first broken rule and its
causes.
"""

from __future__ import annotations

from amptrail.circuit.model import Must, key
from amptrail.circuit.phases import sleeping
from amptrail.circuit.tables import attribute as table_row
from amptrail.feed.causes import held_by, trail, way_of_load, words
from amptrail.feed.evidence import Instant, Lives
from amptrail.feed.functions import Finding, findings
from amptrail.feed.marks import Mark
from amptrail.feed.shape import area_mm2
from amptrail.feed.verdict import Verdict
from amptrail.reference.cautions import cautions
from amptrail.units import rounded

PURPOSE = {"try": "for a try", "home": "for one drive home", "leave": "to be left in"}
STARTS = {
    "asleep": "after a night",
    "stall": "after a stall",
    "key-off-turning": "after the key went off with the engine still turning",
    "aborted-crank": "after a start that was broken off",
    "restart-in-after-run": "when the key goes off and on again at once",
    "battery-reconnected": "after the battery was off",
    "unlock-without-start": "after it was unlocked and not started",
}
CORNERS = {"cold": "with a battery at 10.5 V", "hot": "at 15 V"}


def start_words(start: str) -> str:
    """A start as a technician says it."""
    if start.startswith("awake:"):
        return f"fitted in {start.removeprefix('awake:')}"
    return STARTS.get(start, "")


LITTLE_A = 1e-3  # nobody in a shop measures less


def _si(value: float, unit: str) -> str:
    if unit == "V":
        return f"{value:.2f} V"
    if unit == "A" and 0 < abs(value) < LITTLE_A:
        return "less than 1 mA"
    if unit in ("A", "m"):
        return rounded(value, unit)  # type: ignore[arg-type]
    return f"{value:.3g} {unit}"


def _must(lives: Lives, name: str) -> Must | None:
    return next((m for m in lives.fitted.circuit.musts if key(m.name) == key(name)), None)


def _pair(lives: Lives, mark: Mark) -> tuple[Instant, Instant] | None:
    """Where a function fails, and where it works: another start of the fed vehicle, else the healthy one."""

    def rows(state: str, start: str, ok: bool) -> list[Finding]:
        return [
            f
            for f in findings(lives.get(state, start))
            if key(f.must.name) == key(mark.part) and f.wanted == "on" and f.ok is ok
        ]

    bad = [f for f in rows("fed", mark.start, False) if f.instant.phase_name == mark.phase]
    if not bad:
        return None
    good = [f for s in lives.starts for f in rows("fed", s, True)] or rows("healthy", "asleep", True)
    return (bad[0].instant, good[0].instant) if good else None


def because(lives: Lives, mark: Mark) -> str:
    """Why a function does not work, as half a sentence; empty when the trail says nothing."""
    must, pair = _must(lives, mark.part), _pair(lives, mark)
    if must is None or pair is None or must.a is None or must.b is None:
        return ""
    bad, good = pair
    return words(trail(bad, good, way_of_load(good, must.a, must.b)))


def _dead(v: Verdict, m: Mark) -> str:
    reason = because(v.lives, m)
    tail = f", because {reason}" if reason else ""
    where = start_words(m.start)
    weak = f" ({_si(m.figure, m.unit)} of {_si(m.limit, m.unit)})" if m.unit == "V" and m.figure > 1 else ""
    # what has volts, only too few, is not dead because something is open
    return f"{m.part} does not work in {m.phase} {where}{weak or tail}"


def _restores(v: Verdict, m: Mark) -> str:
    if v.flags["dead_lock"]:
        reason = because(v.lives, m)
        return f"works while you stand there; after a night {m.part} stays dead in {m.phase}" + (
            f", because {reason}" if reason else ""
        )
    return _dead(v, m)


def _on(v: Verdict, m: Mark) -> str:
    names = {"relay": "relay ", "drv": "output ", "sig": "signal "}
    kind, _, name = m.part.partition(".")
    what = names.get(kind, "") + (name or m.part)
    story = v.lives.get("fed", m.start if m.start in v.lives.starts else "asleep")
    x = next((i for i in story.instants if i.phase_name == m.phase), story.instants[-1])
    own = frozenset(key(p.name) for p in v.fitted.feed.parts)
    reason = held_by(x, m.part, own) if kind in names else ""
    return f"{what} stays on in {m.phase} {start_words(m.start)}" + (f": {reason}" if reason else "")


def _figure(v: Verdict, m: Mark) -> str:
    beside = "at least" if m.side == "least" else "at most"
    return f"{_si(m.figure, m.unit)} where {beside} {_si(m.limit, m.unit)} is allowed"


def sentence(v: Verdict, m: Mark) -> str:
    """One broken rule in plain words; the parts of a short feed are called its wire, its fuse, its relay."""
    text = _sentence(v, m)
    for p in v.fitted.feed.parts if v.fitted.feed.short else ():
        own = f"the feed's {p.kind}"
        text = text.replace(f"{p.kind} {p.name}", own).replace(p.name, own)
    return text


def _sentence(v: Verdict, m: Mark) -> str:
    more, at = dict(m.more), f"in {m.phase} {start_words(m.start)}".rstrip()
    if key(m.phase) == key(sleeping(v.fitted.circuit).name):
        at = "while the vehicle sleeps"
    match m.rule:
        case "refuse_list":
            said = cautions([f"class:{more.get('refuse_class', '')}"])
            return f"{m.part} is never fed by a lead ({more.get('refuse_class')}): " + (
                said[0].text if said else "not even for a try"
            )
        case "no_fuse_at_source":
            return f"nothing protects the lead at {m.part}: {_figure(v, m)} before a fuse; it would burn"
        case "dead_short_not_cleared":
            return f"a dead short at the far end would not open {m.part} in time: {_figure(v, m)}"
        case "wire_rating":
            fuse = f" behind {more['fuse']}" if "fuse" in more else ""
            return f"wire {m.part}{fuse} is too thin: {_figure(v, m)}"
        case "restores_from_asleep" | "dead_lock":
            return _restores(v, m)
        case "restarts" | "works_fitted_awake" | "after_run":
            return _dead(v, m)
        case "off_when_required" | "stop_function":
            if m.unit != "V":
                return f"{m.part} is on {at} and must not be"
            return f"{m.part} does not stop: {_si(m.figure, m.unit)} on it {at}"
        case "sleeps":
            return f"controller {m.part} {'stays awake' if m.figure else 'is not woken'} {at}"
        case "sleep_current":
            return f"the battery goes flat: asleep it gives {_figure(v, m)}"
        case "self_holding" | "permanently_on":
            return _on(v, m)
        case "back_feed":
            if m.unit == "A":
                return f"current runs backwards into the output {m.part} {at}: {_si(m.figure, 'A')}"
            if m.unit == "V":
                if "burns" in more:
                    volts = f"{_si(m.figure, 'V')} where it bears at most {_si(m.limit, 'V')}"
                    return f"{m.part} gets {volts} {at}: it burns"
                if "sensors" in more:
                    return f"the sensors on {m.part} get {_si(m.figure, 'V')} {at}: they burn"
                return f"{m.part} is live {at} ({_si(m.figure, 'V')}) where it should be dead"
            return f"controller {m.part} is kept alive {at} where it should be dead"
        case "driver_overcurrent":
            lamp = " with cold lamps" if more.get("lamps") else ""
            return f"the output {m.part} is overloaded{lamp} {at} and switches itself off"
        case "chatter":
            return f"{m.part.partition('.')[2]} never comes to rest {at}: it buzzes"
        case "fuse_opens":
            return f"fuse {m.part} opens {at}"
        case "fuse_80_percent":
            return f"fuse {m.part} runs hot {at}: {_figure(v, m)}"
        case "relay_make" | "relay_carry":
            does = "closes on" if m.rule == "relay_make" else "carries"
            return f"contact {m.part} {does} too much {at}: {_figure(v, m)}"
        case "voltage_drop":
            return f"{m.part} is too weak {at}: {_figure(v, m)}"
        case "interlock":
            return f"{m.part} works {at} although {more.get('held', 'the switch')} is open: nothing stops it"
        case "on_time":
            early = "it is off again too soon" if m.side == "least" else "it stays on too long"
            return f"{m.part} no longer keeps its time {at}: {early}"
        case "old_path":
            return f"the old path at {m.part} is still joined to the feed: cut it at both ends"
        case "source_load":
            return f"wire {m.part} in the old loom is overloaded {at}: {_figure(v, m)}"
        case "adiabatic_ground":
            lost = f"if {more['lost']} is lost, " if "lost" in more else ""
            return f"{lost}the starter's current burns {m.part}"
        case "joint_heat":
            return f"joint {m.part} turns too much into heat {at}: {_figure(v, m)}"
        case "suppression":
            return f"the coil of {m.part} is not quenched and electronics switch it"
    return f"{m.rule.replace('_', ' ')}: {m.part} {at}"


def _corner(m: Mark) -> str:
    corner = dict(m.more).get("corner")
    if corner is None:
        return ""
    return f" {CORNERS.get(corner, 'at the edge of what is normal for such parts')}"


def _holds(v: Verdict) -> str:
    names = ", ".join(m.name for m in v.fitted.circuit.musts)
    them = "they" if len(v.fitted.circuit.musts) > 1 else "it"
    asleep = v.flags["sleep_current_a"]["asleep_start"]
    sleeps = f", and it sleeps at {_si(asleep, 'A')}" if asleep is not None else ""
    closest = min((m for m in v.worst.values() if m.ok), key=lambda m: m.margin, default=None)
    spare = ""
    if closest is not None:
        rule = closest.rule.replace("_", " ")
        spare = f"; closest to a limit: {rule} at {closest.part}, {closest.margin:.0%} to spare"
    longer = dict.fromkeys(f"{m.part} in {m.phase}" for m in v.notes if m.rule == "off_when_required")
    only = f", only that it runs longer: {', '.join(longer)}" if longer else ""
    start = f"Holds {PURPOSE[v.purpose]}: {names} as {them} should be from every start"
    return f"{start}{only}{sleeps}{spare}."


def only_if(v: Verdict) -> list[str]:
    """What has to be true for the feed to hold: defaults nobody confirmed that decide, sizes nobody told."""
    found = []
    for name in v.true_only_if:
        part, _, attribute = name.rpartition(" ")
        found.append(_said(v, part, attribute))
    bare = [p.name for p in v.fitted.feed.parts if p.kind == "wire" and area_mm2(p) is None]
    if bare and v.verdict != "refused":
        found.append(f"wire {', '.join(bare)} is thick enough for its fuse: its area is not told")
    return list(dict.fromkeys(found))


def decides(v: Verdict) -> str | None:
    """The cheapest thing to find out that would decide an undecided verdict."""
    if v.verdict != "undecided":
        return None
    if not v.true_only_if:
        m = v.doubtful[0]
        return f"watch {m.part} in {m.phase} with a scope: does it settle the same way every time?"
    part, _, attribute = v.true_only_if[0].rpartition(" ")
    return f"find out and state in the sheet: {_said(v, part, attribute)}"


def _said(v: Verdict, part: str, attribute: str) -> str:
    """A default in words: what it is, and what was assumed."""
    p = next((x for x in v.fitted.circuit.parts if key(x.name) == key(part)), None)
    known = {f"{x.part} {x.name}": x.value for x in v.fitted.network.parameters}
    value = known.get(f"{part} {attribute}")
    if p is None or value is None:
        return f"{attribute} of {part}"
    try:
        row = table_row(p.kind, "length_m" if p.kind == "wire" and attribute == "ohm" else attribute)
    except KeyError:
        return f"{attribute} of {part}"
    given = value if row.name == attribute else row.default
    assumed = f" (assumed {given:g} {row.unit})" if isinstance(given, float) else ""
    return f"{part}: {row.description}{assumed}"


def why(v: Verdict) -> str:
    """The verdict in one sentence."""
    if v.verdict == "holds":
        return _holds(v)
    if v.verdict == "undecided" and v.doubtful:
        m = v.doubtful[0]
        if m.rule == "race":
            where = f"{m.phase} {start_words(m.start)}".rstrip()
            return f"Undecided: what {m.part} does in {where} hangs on what switches first."
        part, _, attribute = v.true_only_if[0].rpartition(" ")
        said = _said(v, part, attribute)
        return f"Undecided: {sentence(v, m)}{_corner(m)}, or not: nobody has confirmed {said}."
    m = v.broken[0]
    text = sentence(v, m) + _corner(m)
    named = text.startswith(m.part)  # a name is spelled as in the sheet
    return (text if named else text[0].upper() + text[1:]).rstrip(".") + "."
