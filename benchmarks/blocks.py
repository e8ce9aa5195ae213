"""Functions a generated vehicle is made of. Each block declares its parts, wires
them and says what must hold.

`parts` is the most a block can cost, so that the generator can stop before it overshoots.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from benchmarks.vehicle import Vehicle

_ON = "9 V or more in ignition-on, running; 1 V or less in asleep"


@dataclass(frozen=True, slots=True)
class Block:
    """One kind of function. `once`: a vehicle has it at most once."""

    name: str
    parts: int
    build: Callable[[Vehicle], None]
    once: bool = False


def _load(v: Vehicle, place: str) -> str:
    """A load, the kinds in turn, of ordinary size while the budget lasts."""
    v.loads += 1
    kind = ("motor", "heater", "ptc", "solenoid", "load", "lamp")[(v.loads + v.size) % 6]
    if kind == "solenoid" or not v.afford(7.0):
        return v.part("solenoid", "Y", f"{v.rng.choice((40, 60, 90))} ohm", place)
    if kind == "motor":
        return v.part("motor", "M_", "0.8 ohm breaks 2 A runs 5 A at 13 V", place)
    if kind == "heater":
        return v.part("heater", "R_H", "2.2 ohm", place)
    if kind == "ptc":
        return v.part("ptc", "PTC", "limits 6 A cold 2 ohm", place)
    if kind == "load":
        return v.part("load", "E", "4 A above 6 V", place)
    return v.part("lamp", "L", "12 V 55 W", place)


def _driver(v: Vehicle, module: str, side: str, when: str) -> str:
    """A driver pin of a module."""
    pin = v.name("q")
    feed = f"from {module}.30 " if side == "high-side" else ""
    v.logic(f"{module}.{pin} {side} {pin} {feed}on 120 mohm leak 1 Mohm limit 4 A while {when}")
    return f"{module}.{pin}"


def relay_by_module(v: Vehicle) -> None:
    """A load behind a relay whose coil a module pulls down; some keep running after key-off."""
    place, module = v.place(), v.rng.choice(v.modules)
    after = module == "M1" and v.rng.random() < 0.4
    fuse = v.part("fuse", "F", "15 A", "cabin")
    relay = v.part("relay", "K", v.rng.choice(("coil 85 ohm", "coil 95 ohm suppressed by resistor")), "cabin")
    load, plug, back = _load(v, place), v.cavity(place), v.cavity(place)
    pin = _driver(v, module, "low-side", "go held 45 s" if after else "go")
    v.path(v.box(), fuse, v.wire(2.5), f"{relay}.30-87", v.wire(2.5), plug, v.wire(1.5, 1.0), load)
    v.path(f"{load}.out", back, v.wire(2.5), v.ground(place))
    v.path(f"{fuse}.out" if after else "SIGN", f"{relay}.86-85", v.wire(0.5), pin)
    awake = "ignition-on, running, after-run" if after else "ignition-on, running"
    v.must(f"{load}.in to {load}.out 9 V or more in {awake}; 1 V or less in asleep")


def relay_by_switch(v: Vehicle) -> None:
    """A load behind a relay switched by hand, through a diode that keeps the coil from feeding back."""
    place = v.place()
    fuse = v.part("fuse", "F", "20 A", "cabin")
    switch = v.part("switch", "SW", "closed in ignition-on, running", "cabin")
    diode = v.part("diode", "D", "rs 30 mohm", "cabin")
    relay = v.part("relay", "K", "coil 85 ohm", "cabin")
    load, plug = _load(v, place), v.cavity(place)
    v.path(
        v.box(),
        fuse,
        v.wire(2.5),
        f"{relay}.30-87",
        v.wire(2.5),
        plug,
        load,
        v.wire(2.5, 1.0),
        v.ground(place),
    )
    v.path("SIGN", switch, diode, v.wire(0.5), f"{relay}.86-85", v.ground("cabin"))
    v.must(f"{load}.in to {load}.out {_ON}")


def lamp_group(v: Vehicle) -> None:
    """Two to four lamps on one fuse, splice and ground."""
    place = v.place()
    fuse = v.part("fuse", "F", "10 A", "cabin")
    switch = v.part("switch", "SW", "closed in ignition-on, running", "cabin")
    splice = v.part("splice", "SP", "", place)
    watts = v.rng.choice((5, 10, 21))
    number = v.rng.choice((2, 3, 4))
    if not v.afford(number * watts / 12):
        watts = 2
    v.path(v.box(), fuse, switch, v.wire(1.5), v.cavity(place), splice)
    back = v.part("splice", "SP", "", place)
    for _ in range(number):
        lamp = v.part("lamp", "L", f"12 V {watts} W", place)
        v.path(splice, v.wire(1, 1.0), lamp, back)
        v.must(f"{lamp}.in to {lamp}.out {_ON}")
    v.path(back, v.wire(1.5, 1.0), v.ground(place))


def high_side_lamp(v: Vehicle) -> None:
    """A lamp on the high-side driver of a module."""
    place, module = v.place(), v.rng.choice(v.modules)
    pin = _driver(v, module, "high-side", "go")
    lamp = v.part("lamp", "L", "12 V 3 W", place)
    v.path(pin, v.wire(0.75), v.cavity(place), lamp, v.ground(place))
    v.must(f"{lamp}.in to {lamp}.out {_ON}")


def direct_consumer(v: Vehicle) -> None:
    """A consumer straight on a fuse, with a self-resetting fuse before its motor."""
    place = v.place()
    fuse = v.part("fuse", "F", "25 A", "cabin")
    poly = v.part("polyfuse", "PF", "hold 10 A trip 20 A 20 mohm", place)
    switch = v.part("switch", "SW", "closed in running", place)
    load = _load(v, place)
    v.path(v.box(), fuse, v.wire(2.5), v.cavity(place), poly, switch, load, v.wire(2.5, 1.0), v.ground(place))
    v.must(f"{load}.in to {load}.out 9 V or more in running; 1 V or less in asleep")


def junction_box(v: Vehicle) -> None:
    """A junction box with two internal tracks, each to its own consumer."""
    box = v.part("box", "JB", '2 mohm rows "1 2 3 / 4 5 6"', "engine-bay")
    fuse = v.part("fuse", "F", "10 A", "cabin")
    v.path("SIGN", fuse, v.wire(1.5), f"{box}.1")
    for cavity in ("2", "5"):
        valve = v.part("solenoid", "Y", "60 ohm", "engine-bay")
        v.path(f"{box}.1.b", f"{box}.{cavity}", v.wire(0.75, 1.0), valve, v.ground("engine-bay"))
        v.must(f"{valve}.in to {valve}.out {_ON}")
    v.count += 3  # its cavities


def start_chain(v: Vehicle) -> None:
    """Key, clutch switch, start relay, starter, with the clutch as interlock."""
    v.line("KEY.30-50 closed at start")
    v.declare("switch", "CLUTCH", "closed in cranking", "cabin")
    v.declare("relay", "KST", "coil 85 ohm", "engine-bay")
    v.declare("fuse", "FST", "50 A", "engine-bay")
    v.declare("starter", "STA", "pull 0.5 ohm hold 1.4 ohm motor 80 mohm", "engine-bay")
    v.declare("joint", "STRAP", "0.3 mohm", "engine-bay")
    v.path("BAT.+", v.wire(50, 1.5), "STA.30")
    v.path("BAT.+", "FST", v.wire(6), "KST.30-87", v.wire(4), v.cavity("engine-bay"), "STA.50")
    v.path("KEY.50", v.wire(1), "CLUTCH", v.wire(1), "KST.86-85", v.ground("engine-bay"))
    v.path("STA.31", v.wire(50, 0.6), "STRAP", "BAT.-")
    cranks = v.must("STA.M to STA.31 7 V or more in cranking; 1 V or less in ignition-on, running, asleep")
    v.logic(f"interlock CLUTCH for {cranks}")


def charging(v: Vehicle) -> None:
    """An alternator excited through its charge lamp."""
    v.declare("alternator", "ALT", "14.3 V 20 mohm field 22 ohm excites 90 mA spins in running", "engine-bay")
    v.declare("lamp", "CHARGE", "12 V 3 W", "cabin")
    v.path("ALT.B+", v.wire(25, 1.2), "BAT.+")
    v.path("ALT.31", v.wire(25, 0.5), "BAT.-")
    v.path("SIGN", "CHARGE", v.wire(0.75), v.cavity("engine-bay"), "ALT.D+")


def sensor_group(v: Vehicle) -> None:
    """Two potentiometers and a thermistor on the 5 V reference and sensor ground of a module."""
    module, place = v.rng.choice(v.modules), v.place()
    ref = v.name("v5_")
    v.logic(f"{module}.{ref} reference {ref} 5 V 0.3 ohm limit 60 mA")
    up, down = v.part("splice", "SP", "", place), v.part("splice", "SP", "", place)
    v.path(f"{module}.{ref}", v.wire(0.5), v.cavity(place), up)
    v.path(down, v.cavity(place), v.wire(0.5), f"{module}.31")
    for _ in range(2):
        pot = v.part("pot", "P", f"{v.rng.choice((2, 5))} kohm at {v.rng.choice((0.2, 0.5, 0.7))} x", place)
        pin = v.name("a")
        v.path(up, f"{pot}.1")
        v.path(f"{pot}.2", v.wire(0.5), f"{module}.{pin}")
        v.path(f"{pot}.3", down)
        v.logic(f"{module}.{pin} input {pin} pull-down 220 kohm on at 0.5 V off at 0.3 V")
    sensor, pin = v.part("sensor", "NTC", f"{v.rng.choice((1, 2.5, 4))} kohm", place), v.name("a")
    v.path(f"{module}.{pin}", v.wire(0.5), sensor, down)
    v.logic(f"{module}.{pin} input {pin} pull-up 2.2 kohm to 5 V")
    v.must(f"{module}.{ref} to {module}.31 4.8 V or more in ignition-on, running; 1 V or less in asleep")


def blower(v: Vehicle) -> None:
    """A blower behind series resistors and a stepped switch; it stands on its first step."""
    switch = v.part("switch", "BSW", "positions s1, s2, s3", "cabin")
    v.line(f"{switch}.B-L closed at s1")
    v.line(f"{switch}.B-M closed at s2")
    v.line(f"{switch}.B-H closed at s3")
    fuse = v.part("fuse", "F", "30 A", "cabin")
    one, two = v.part("resistor", "R", "1.5 ohm", "cabin"), v.part("resistor", "R", "0.8 ohm", "cabin")
    motor = v.part("motor", "M_", "0.5 ohm breaks 2 A runs 8 A at 13 V", "cabin")
    v.path("SIGN", fuse, v.wire(2.5), f"{switch}.B")
    v.path(f"{switch}.L", v.wire(2.5), one, two, motor, v.wire(2.5), v.ground("cabin"))
    v.path(f"{switch}.M", v.wire(2.5), f"{two}.in")
    v.path(f"{switch}.H", v.wire(2.5), f"{motor}.in")
    v.must(f"{motor}.in to {motor}.out 2 V or more in ignition-on, running; 1 V or less in asleep")


def tell_tale(v: Vehicle) -> None:
    """A light-emitting tell-tale pulled down by a module."""
    module = v.rng.choice(v.modules)
    pin = _driver(v, module, "low-side", "go")
    led = v.part("led", "LED", "forward 2 V 560 ohm", "cabin")
    v.path("SIGN", led, v.wire(0.5), pin)


def module_lamp(v: Vehicle) -> None:
    """A lamp on a low-side driver: the smallest function with a module."""
    pin = _driver(v, v.rng.choice(v.modules), "low-side", "go")
    lamp = v.part("lamp", "L", "12 V 2 W", "cabin")
    v.path("SIGN", v.wire(0.75), lamp, v.wire(0.5), pin)
    v.must(f"{lamp}.in to {lamp}.out {_ON}")


def plain_relay(v: Vehicle) -> None:
    """A small relay-fed load in the cabin."""
    fuse, relay = v.part("fuse", "F", "10 A", "cabin"), v.part("relay", "K", "coil 85 ohm", "cabin")
    valve = v.part("solenoid", "Y", "20 ohm", "cabin")
    pin = _driver(v, v.rng.choice(v.modules), "low-side", "go")
    v.path(v.box(), fuse, f"{relay}.30-87", v.wire(1.5), valve, v.ground("cabin"))
    v.path("SIGN", f"{relay}.86-85", v.wire(0.5), pin)
    v.must(f"{valve}.in to {valve}.out {_ON}")


BLOCKS = (
    Block("relay by module", 13, relay_by_module),
    Block("relay by switch", 12, relay_by_switch),
    Block("lamp group", 18, lamp_group),
    Block("high-side lamp", 6, high_side_lamp),
    Block("direct consumer", 10, direct_consumer),
    Block("junction box", 10, junction_box),
    Block("start chain", 15, start_chain, once=True),
    Block("charging", 8, charging, once=True),
    Block("sensors", 15, sensor_group),
    Block("blower", 10, blower, once=True),
    Block("tell-tale", 2, tell_tale),
)
SMALL_BLOCKS = (Block("module lamp", 3, module_lamp), Block("plain relay", 5, plain_relay))
