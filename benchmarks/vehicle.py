"""The frame a generated vehicle grows on: names, wires, fuse boxes, grounds, plugs, modules, sharing."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

_COLOURS = ("RD", "BK", "BN", "GN", "YE", "BU", "WH", "GY", "VT", "OG")
_PLACES = (
    ("engine-bay", 2, "hot"), ("cabin", 4, ""), ("left-rear", 8, "damp"), ("right-rear", 8, "damp"),
    ("underbody", 15, "damp moving outside"), ("roof", 10, ""),
)  # fmt: skip


@dataclass
class Vehicle:
    """A sheet under construction. `count` is the number of parts and cavities so far; `budget_a` what may
    still be drawn by loads of ordinary size (afterwards small ones are used), so that any size is healthy."""

    rng: Random
    size: int
    count: int = 0
    budget_a: float = 60.0
    loads: int = 0
    done: set[str] = field(default_factory=set)
    modules: list[str] = field(default_factory=list)
    _numbers: dict[str, int] = field(default_factory=dict)
    _cavities: dict[str, int] = field(default_factory=dict)
    _grounds: set[str] = field(default_factory=set)
    _parts: list[str] = field(default_factory=list)
    _paths: list[str] = field(default_factory=list)
    _logic: list[str] = field(default_factory=list)
    _musts: list[str] = field(default_factory=list)
    _boxes: list[str] = field(default_factory=list)

    # ---- words -----------------------------------------------------------------------------------
    def name(self, prefix: str) -> str:
        """The next free name `PREFIX1, PREFIX2 …`."""
        self._numbers[prefix] = self._numbers.get(prefix, 0) + 1
        return f"{prefix}{self._numbers[prefix]}"

    def part(self, kind: str, prefix: str, rest: str = "", place: str = "") -> str:
        """Declare a part and give its name."""
        name = self.name(prefix)
        self.declare(kind, name, rest, place)
        return name

    def declare(self, kind: str, name: str, rest: str = "", place: str = "") -> None:
        """Declare a part whose name is settled. Connectors and boxes count by their cavities as well."""
        self.count += 1
        self._parts.append(" ".join(x for x in (kind, name, rest, f"at {place}" if place else "") if x))

    def line(self, text: str) -> None:
        """A further line about parts already declared (contacts of a switch)."""
        self._parts.append(text)

    def wire(self, mm2: float, longest_m: float = 3.0) -> str:
        """A wire in brackets, for a path."""
        self.count += 1
        metres = round(self.rng.uniform(0.3, longest_m), 1)
        return f"[{self.name('W')}: {self.rng.choice(_COLOURS)} {mm2} mm2 {metres} m]"

    def path(self, *hops: str) -> None:
        self._paths.append("path " + " -- ".join(hops))

    def logic(self, *lines: str) -> None:
        self._logic.extend(lines)

    def must(self, text: str) -> str:
        """A function and its figures; gives the name of the function."""
        name = self.name("f")
        self._musts.append(f"must {name}: {text}")
        return name

    # ---- what is shared --------------------------------------------------------------------------
    def place(self) -> str:
        return self.rng.choice(_PLACES)[0]

    def ground(self, place: str) -> str:
        """The ground of a place, shared by all that is there; bolted down when first needed."""
        name = "G_" + place.replace("-", "_")
        if name not in self._grounds:
            self._grounds.add(name)
            self.declare("ground", name, "", place)
        return name

    def box(self) -> str:
        """The splice behind a fuse box: many consumers share it."""
        return self.rng.choice(self._boxes)

    def cavity(self, place: str) -> str:
        """The next cavity of the plug of a place; plugs have four rows of six, then a new plug is fitted."""
        stem = "X_" + place.replace("-", "_")
        used = self._cavities.get(stem, 0)
        plug = f"{stem}_{used // 24 + 1}"
        if used % 24 == 0:
            rows = " / ".join(" ".join(str(r * 6 + c + 1) for c in range(6)) for r in range(4))
            self.declare("connector", plug, f'2 mohm rows "{rows}"', place)
        self._cavities[stem] = used + 1
        self.count += 1
        return f"{plug}.{used % 24 + 1}"

    def panel_lamp(self) -> None:
        """The smallest thing a vehicle can have more of: a tell-tale straight on the ignition feed."""
        lamp = self.part("lamp", "TT", "12 V 1.2 W", "cabin")
        self.path("SIGN", lamp, self.ground("cabin"))

    # ---- the frame -------------------------------------------------------------------------------
    def frame(self, n_modules: int) -> None:
        """Battery, main feed, key, ignition feed, the grounds, a fuse box or more, and the modules."""
        # A vehicle too small for a start chain cranks as a plain resistance.
        crank = " cranking 60 mohm" if self.size < 60 else ""
        self.declare("battery", "BAT", f"12.6 V 6 mohm charge 0.2 ohm{crank}", "engine-bay")
        self.declare("joint", "CLAMPN", "0.3 mohm", "engine-bay")
        self.declare("link", "FLM", "200 A", "engine-bay")
        self.declare("splice", "S30", "", "cabin")
        self.declare("switch", "KEY", "positions off, acc, on, start 5 mohm", "cabin")
        self.line("KEY.30-15 closed at on, start")
        self.declare("fuse", "FIGN", "40 A", "cabin")
        self.declare("splice", "SIGN", "", "cabin")
        self.path("BAT.+", self.wire(25, 0.6), "FLM", self.wire(16, 1.0), "S30")
        self.path("BAT.-", "CLAMPN", self.wire(25, 0.6), "body")
        self.path("S30", self.wire(10, 0.5), "KEY.30")
        self.path("KEY.15", self.wire(10, 0.5), "FIGN", "SIGN")
        self.ground("cabin")
        for _ in range(max(1, self.size // 250)):
            box = self.part("splice", "SB", "", "cabin")
            self._boxes.append(box)
            self.path("S30", self.wire(10, 1.0), box)
        for i in range(n_modules):
            self._module(i)

    def _module(self, i: int) -> None:
        """A module: supply behind its own fuse, ignition input, after-run; later ones wake by message."""
        m = f"M{i + 1}"
        first = i == 0
        place = "cabin" if self.size < 60 else self.place()
        self.declare("module", m, "", place)
        fuse = self.part("fuse", "F", "7.5 A", "cabin")
        self.path(self.box(), fuse, self.wire(1), f"{m}.30")
        self.path(f"{m}.31", self.wire(1.5, 0.8), self.ground(place))
        self.logic(f"{m}.31 ground", f"{m} lives above 6 V", f"{m}.30 supply 120 ohm awake 12 kohm asleep")
        if first:
            self.path("SIGN", self.wire(0.75), f"{m}.15")
            self.logic(f"{m}.15 input ign pull-down 10 kohm on at 5 V off at 3.5 V")
            self.logic(f"{m} go while ign", f"{m} awake while ign held 60 s")
        else:
            held = self.rng.choice((5, 15, 40))
            # Messages reach down the list only: a module hears those written before it.
            teller = self.rng.choice(self.modules)
            self.logic(
                f"{m} go while {teller} says go", f"{m} awake while {teller} says awake or go held {held} s"
            )
        self.modules.append(m)
        self.must(f"{m} awake in ignition-on, running; not in asleep")

    def afford(self, amps: float) -> bool:
        """True and booked when the vehicle can still feed a load of ordinary size."""
        if self.budget_a < amps:
            return False
        self.budget_a -= amps
        return True

    # ---- the sheet -------------------------------------------------------------------------------
    def text(self) -> str:
        """The whole sheet."""
        used = " ".join(self._parts)
        places = [f"place {n} {t} min {traits}".rstrip() for n, t, traits in _PLACES if f"at {n}" in used]
        phases = [
            "phase ignition-on 10 s", "phase cranking 3 s", "phase running 300 s", "phase after-run 30 s",
            "phase asleep 3600 s",
        ]  # fmt: skip
        groups = (
            [f'vehicle "Generated vehicle of {self.size} parts"'], places, phases, self._parts, self._paths,
            self._logic, self._musts, ["draw asleep at most 200 mA"],
        )  # fmt: skip
        return "\n\n".join("\n".join(g) for g in groups if g) + "\n"
