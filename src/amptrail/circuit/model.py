"""The circuit as the technician describes it: frozen, ordered, nothing computed.

A `Circuit` mirrors the statements of a sheet (docs/sheet.md), with every name resolved to the spelling
of its declaration. What follows from it (metal, states, volts) is derived elsewhere by pure functions:
`circuit.wiring` joins terminals into metal, `solve` and `twin` compute. Values are SI floats.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from functools import lru_cache
from typing import Literal

Value = float | str | bool | tuple[str, ...]
Base = Literal["asleep", "awake", "ignition-on", "cranking", "running", "after-run"]
PartKind = Literal[
    "battery", "alternator", "wire", "fuse", "link", "polyfuse", "joint", "connector", "box", "splice",
    "ground", "switch", "relay", "resistor", "lamp", "led", "diode", "motor", "starter", "solenoid",
    "heater", "ptc", "pot", "sensor", "load", "module",
]  # fmt: skip


@lru_cache(maxsize=1 << 16)
def key(name: str) -> str:
    """Names compare without case and with `-` = `_`."""
    return name.lower().replace("-", "_")


@dataclass(frozen=True, slots=True)
class Term:
    """A terminal, `PART.name`: a cavity side is `X7` + `4.a`; part `""` is a named metal (`body`, a net)."""

    part: str
    name: str

    def __str__(self) -> str:
        return f"{self.part}.{self.name}" if self.part else self.name


BODY = Term("", "body")


# ---- frame ------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Place:
    name: str
    minutes: float | None = None
    text: str | None = None
    traits: tuple[str, ...] = ()  # damp, hot, moving, outside ...


@dataclass(frozen=True, slots=True)
class Travel:
    a: str
    b: str
    minutes: float


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of the drive cycle. `at` sets switch positions: ((part, position), ...)."""

    name: str
    base: Base
    duration_s: float | None = None
    at: tuple[tuple[str, str], ...] = ()


# ---- parts ------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Contact:
    """A contact of a positional switch: `KEY.30-15 closed at on, start`."""

    a: str
    b: str
    at: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """A part and what the sheet says of it. Unsaid attributes come from the table of its kind.

    `given` holds only what was written, as sorted (attribute, value) pairs in SI; see `circuit.tables`
    for names, units, defaults and sources, and `circuit.tables.value(part, "coil_ohm")` to read one.
    `contacts` are those of a positional switch; `cavities` lists cavity names with a resistance of
    their own, in order of declaration (connector, box).
    """

    kind: PartKind
    name: str
    given: tuple[tuple[str, Value], ...] = ()
    place: str | None = None
    text: str | None = None
    contacts: tuple[Contact, ...] = ()

    def said(self, attribute: str) -> Value | None:
        """What the sheet itself says of `attribute`, or None."""
        return dict(self.given).get(attribute)


@dataclass(frozen=True, slots=True)
class Cavity:
    """One cavity of a connector or box: an element between sides a and b, in order of first mention."""

    connector: str
    name: str
    ohm: float | None = None
    text: str | None = None


# ---- wiring -----------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Hop:
    """One step of a path: a part passed from terminal `a` to `b` (equal for a plain point)."""

    part: str
    a: str
    b: str


@dataclass(frozen=True, slots=True)
class Path:
    """Hops side by side are the same metal: the `b` of one joins the `a` of the next."""

    hops: tuple[Hop, ...]


@dataclass(frozen=True, slots=True)
class Net:
    name: str
    terms: tuple[Term, ...]


# ---- module logic -----------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Always:
    pass


@dataclass(frozen=True, slots=True)
class Name:
    """This module's input or signal; `scope` only where the bare name would be ambiguous."""

    name: str
    scope: Literal["input", "signal", ""] = ""


@dataclass(frozen=True, slots=True)
class Says:
    module: str
    name: str


@dataclass(frozen=True, slots=True)
class InPhase:
    phase: str


@dataclass(frozen=True, slots=True)
class Not:
    of: Expr


@dataclass(frozen=True, slots=True)
class And:
    of: tuple[Expr, ...]


@dataclass(frozen=True, slots=True)
class Or:
    of: tuple[Expr, ...]


@dataclass(frozen=True, slots=True)
class Held:
    """True while `of`, and `seconds` after it falls."""

    of: Expr
    seconds: float


@dataclass(frozen=True, slots=True)
class Pulsed:
    """True for `seconds` after `of` rises, while `of`."""

    of: Expr
    seconds: float


Expr = Always | Name | Says | InPhase | Not | And | Or | Held | Pulsed


@dataclass(frozen=True, slots=True)
class GroundPin:
    module: str
    pin: str


@dataclass(frozen=True, slots=True)
class Lives:
    """The module lives when any supply is `volts` or more above its ground pin."""

    module: str
    volts: float


@dataclass(frozen=True, slots=True)
class Supply:
    module: str
    pin: str
    awake_ohm: float | None  # None: nobody said (`circuit.module_defaults`)
    asleep_ohm: float | None
    min_v: float | None = None


@dataclass(frozen=True, slots=True)
class Input:
    """`pull` to the ground pin, to a supply pin (`pull_from`, default the first), or to `pull_v` volts made
    by the module while awake. Level: on at >= on_v until < off_v; active low: on at <= on_v until > off_v.
    None: no pull; `on_v` None: never true."""

    module: str
    pin: str
    name: str
    pull: Literal["ground", "supply", "volts"] | None = None
    ohm: float | None = None
    pull_v: float | None = None
    pull_from: str | None = None
    on_v: float | None = None
    off_v: float | None = None
    active_low: bool = False


@dataclass(frozen=True, slots=True)
class Reference:
    module: str
    pin: str
    name: str
    volts: float
    ohm: float
    limit_a: float


@dataclass(frozen=True, slots=True)
class Driver:
    """`side` low: pin to module ground; high: `feed` pin (default first supply) to pin; half: both."""

    module: str
    pin: str
    name: str
    side: Literal["low", "high", "half"]
    when: Expr
    feed: str | None = None
    on_ohm: float | None = None
    leak_ohm: float | None = None
    limit_a: float | None = None
    latch: Literal["request", "key"] = "request"  # a trip is forgotten when the request ends / at key-off
    duty: float | None = None  # PWM, 0..1
    body_diode: bool = True
    runs_asleep: bool = False


@dataclass(frozen=True, slots=True)
class Clamp:
    """Clamp diodes at a module pin: to the supply pin above, from the ground pin below."""

    module: str
    pin: str
    to_supply: str | None = None
    to_ground: bool = False


@dataclass(frozen=True, slots=True)
class BusPin:
    """A CAN pin as DC resistance and level: `ohm` to `volts` above the ground pin while awake."""

    module: str
    pin: str
    line: Literal["can-high", "can-low"]
    ohm: float | None = None
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class Signal:
    module: str
    name: str
    expr: Expr


ModuleLine = GroundPin | Lives | Supply | Input | Reference | Driver | Clamp | BusPin | Signal


# ---- what must hold ---------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Must:
    """A function and its figures: volts from `a` to `b`, or signal `module`.`signal`."""

    name: str
    a: Term | None = None
    b: Term | None = None
    module: str | None = None
    signal: str | None = None
    min_v: float | None = None
    on: tuple[str, ...] = ()
    max_off_v: float | None = None
    off: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Interlock:
    switch: str
    function: str


@dataclass(frozen=True, slots=True)
class Draw:
    phase: str
    max_a: float


@dataclass(frozen=True, slots=True)
class Refuse:
    part: str
    refuse_class: str  # restraint, high-voltage, brakes, steering, immobiliser, fuel
    text: str | None = None


@dataclass(frozen=True, slots=True)
class NeverProbe:
    at: Term
    text: str | None = None


@dataclass(frozen=True, slots=True)
class Reach:
    """How a point is reached: fuse-top, socket, back-probe, open-plug, pierce, bolt, not."""

    at: Term
    how: str
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class Point:
    """A named point: `volts` at a (to b), `amps` through branch a, `ohms` from a to b."""

    name: str
    what: Literal["volts", "amps", "ohms"]
    a: Term
    b: Term | None = None


# ---- faults and feeds -------------------------------------------------------------------------------
Mode = Literal[
    "open", "resistance", "to_ground", "to_supply", "to_point", "stuck_on", "stuck_off", "dead",
    "always_on", "stays_awake", "seized", "has", "wrong_rating", "missing", "swapped", "module_dead",
    "interlock_open", "instrument_wrong", "woken",
]  # fmt: skip
TOUCHES: tuple[Mode, ...] = ("to_ground", "to_supply")  # metal at a point: no new part takes it away


@dataclass(frozen=True, slots=True)
class Fault:
    """One primitive: the fault object of the JSON contract. `at` is the part, branch or point blamed.

    open, resistance: at a part or branch (`K4.87` contact, `K4.coil`, `S1.2` leg, `X7.4` cavity; "" name =
    the part itself). to_ground, to_supply, to_point (`to`): at a point, through `ohm`. has: `value` of
    `attribute`. dead, always_on: a driver `MODULE.driver`. The rest: at a part. `stays`: the part was renewed
    and the new one has it too.
    """

    mode: Mode
    at: Term
    to: Term | None = None
    ohm: float | None = None
    attribute: str | None = None
    value: float | None = None
    stays: bool = False


@dataclass(frozen=True, slots=True)
class NamedFault:
    name: str
    text: str | None
    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True)
class Feed:
    """A temporary feed: an overlay of `parts`, `paths`, `nets` and `cuts`; `against` the fault it bridges.

    The short form of the notation is expanded by the parser into exactly these (fuse, relay contact, diode,
    wire, in order from the source) and `short` keeps that it was written so.
    """

    name: str
    text: str | None = None
    against: tuple[Fault, ...] = ()
    parts: tuple[Part, ...] = ()
    paths: tuple[Path, ...] = ()
    nets: tuple[Net, ...] = ()
    cuts: tuple[str, ...] = ()  # wires or joints opened, by name
    short: bool = False


# ---- what the technician knows besides --------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class WorkedOn:
    part: str
    text: str | None = None


@dataclass(frozen=True, slots=True)
class Likelier:
    part: str
    factor: float


@dataclass(frozen=True, slots=True)
class Like:
    """Two parts that are alike and wired alike: what reads so at one should at the other."""

    part: str
    other: str


@dataclass(frozen=True, slots=True)
class Variant:
    """A second drawing: what it adds and drops."""

    name: str
    parts: tuple[Part, ...] = ()
    paths: tuple[Path, ...] = ()
    nets: tuple[Net, ...] = ()
    drops: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Circuit:
    """One function of one vehicle. Every tuple keeps the order of the sheet."""

    title: str = ""
    laws: Literal["amptrail", "oracle-1"] = "amptrail"
    start_place: str | None = None
    places: tuple[Place, ...] = ()
    travels: tuple[Travel, ...] = ()
    phases: tuple[Phase, ...] = ()  # empty: the standard drive cycle of `circuit.phases`
    parts: tuple[Part, ...] = ()
    cavities: tuple[Cavity, ...] = ()
    paths: tuple[Path, ...] = ()
    nets: tuple[Net, ...] = ()
    modules: tuple[ModuleLine, ...] = ()
    musts: tuple[Must, ...] = ()
    interlocks: tuple[Interlock, ...] = ()
    draws: tuple[Draw, ...] = ()
    refuses: tuple[Refuse, ...] = ()
    never_probe: tuple[NeverProbe, ...] = ()
    reaches: tuple[Reach, ...] = ()
    points: tuple[Point, ...] = ()
    faults: tuple[NamedFault, ...] = ()
    feeds: tuple[Feed, ...] = ()
    worked_on: tuple[WorkedOn, ...] = ()
    likelier: tuple[Likelier, ...] = ()
    variants: tuple[Variant, ...] = ()
    # order of parts and cavities together, as the sheet gives it: ("K4", "X1.17", ...)
    order: tuple[str, ...] = field(default=())
    name: str = ""
    notes: str = ""
    likes: tuple[Like, ...] = ()
    # every cache of the program asks for it, and a deep hash of a sheet takes a millisecond
    _hash: int = field(default=0, init=False, repr=False, compare=False)

    def __hash__(self) -> int:
        if not self._hash:
            parts = tuple(getattr(self, f.name) for f in fields(self) if f.compare)
            object.__setattr__(self, "_hash", hash(parts) or 1)
        return self._hash
