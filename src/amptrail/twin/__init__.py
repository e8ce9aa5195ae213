"""The twin: a plain, independent computation of a circuit, to check the kernel and everything above it.

walk(circuit, faults, start, cycles) -> every settled Instant, one by one, for every start of `plan`
run(circuit, faults, start, cycles) -> the ends of the phases of the last cycle
walk_timed(...) -> the same story in order `time`
resolve(machine(circuit, faults), phase, state) -> volts and amps of one frozen state
read(instant, a, b, instrument), read_ohms(instant, a, b)
"""

from amptrail.twin.bench import Element
from amptrail.twin.elements import elements
from amptrail.twin.overlay import Held, with_value
from amptrail.twin.readings import Got, burden, read, read_ohms
from amptrail.twin.starts import Leg, plan
from amptrail.twin.state import State, state_of, state_words, told
from amptrail.twin.timed import walk_timed
from amptrail.twin.walk import Instant, Moment, Point, machine, resolve, run, walk

__all__ = [
    "Element", "Got", "Held", "Instant", "Leg", "Moment", "Point", "State", "burden", "elements", "machine",
    "plan", "read", "read_ohms", "resolve", "run", "state_of", "state_words", "told", "walk",
    "walk_timed", "with_value",
]  # fmt: skip
