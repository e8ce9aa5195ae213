"""The compiled network of a circuit: frozen arrays, names, and where every parameter sits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from amptrail.circuit import tables
from amptrail.circuit.model import Circuit, Driver, Part, Phase, Signal, Term, key
from amptrail.circuit.model import Input as InputLine
from amptrail.circuit.wiring import Wiring
from amptrail.errors import ModelError, Problem, nearest
from amptrail.solve import laws
from amptrail.solve.plans import plan_of
from amptrail.solve.records import Lane, Static

KEY_ON = ("ignition-on", "cranking", "running")
SPARE = 4  # branches a lane may add (bridges); one more carries the instrument


@dataclass(frozen=True)
class Parameter:
    """A number of the circuit: `places` are (lane array, index), `sigma` its relative tolerance."""

    part: str
    name: str
    value: float
    sigma: float
    places: tuple[tuple[str, tuple[int, ...]], ...]


@dataclass(frozen=True, eq=False)
class Network:
    """What `run` and `read` work on. Node and branch numbers index volts and amps."""

    circuit: Circuit
    wires: Wiring
    phases: tuple[Phase, ...]
    static: Static
    base: Lane  # the healthy lane
    branches: tuple[str, ...]
    branch_of: dict[str, int]
    part_branches: dict[str, tuple[int, ...]]
    relays: tuple[str, ...]
    switches: tuple[str, ...]
    switch_at: dict[int, tuple[str, tuple[str, ...]]]
    drivers: tuple[str, ...]
    modules: tuple[str, ...]
    fuses: tuple[str, ...]
    alternators: tuple[str, ...]
    inputs: dict[str, int]
    items: tuple[str, ...]  # one name per state item
    parameters: tuple[Parameter, ...]
    node_index: dict[tuple[str, str], int]

    @cached_property
    def part_of(self) -> dict[str, Part]:
        """Every part by the key of its name."""
        return {key(p.name): p for p in reversed(self.circuit.parts)}

    @cached_property
    def parameter_of(self) -> dict[tuple[str, str], Parameter]:
        """Every parameter by the keys of part and name."""
        return {(key(p.part), key(p.name)): p for p in reversed(self.parameters)}

    @property
    def instrument(self) -> int:
        """The branch that carries a connected instrument."""
        return len(self.branches) + SPARE

    def node(self, term: Term | int) -> int:
        """Node number of a terminal, net or metal."""
        if isinstance(term, int):
            return term
        got = self.node_index.get((key(term.part), key(term.name)))
        if got is None:
            known = [str(Term(*k)) for k in self.node_index]
            raise ModelError(
                (Problem("no-such-point", f"nothing is joined at {term}", nearest=nearest(str(term), known)),)
            )
        return got

    def node_name(self, number: int) -> str:
        """A terminal of a node: the canonical one of its metal, else the first that is joined to it."""
        if number < len(self.wires.names):
            return str(self.wires.names[number])
        return next((str(Term(*k)) for k, n in self.node_index.items() if n == number), f"node {number}")

    def branch(self, term: Term | str | int) -> int:
        """Branch number of a part, contact, leg, cavity or module pin."""
        if isinstance(term, int):
            return term
        text = term if isinstance(term, str) else str(term) if term.name else term.part
        got = self.branch_of.get(key(text))
        if got is None:
            stem = f"{key(text.split('.')[0])}."
            own = tuple(b for b in self.branches if key(b).startswith(stem))
            said = f"no single current flows through {text}: a clamp goes round one lead"
            near = nearest(text, own or self.branches)
            raise ModelError((Problem("no-such-branch", said, expected=own[:12], nearest=near),))
        return got


@dataclass
class Builder:
    """Collects branches and state items while the parts are walked in sheet order."""

    circuit: Circuit
    wires: Wiring
    cycle: Sequence[Phase]
    durations: list[float]
    kind: list[int] = field(default_factory=list)
    ends: list[tuple[int, int]] = field(default_factory=list)
    p: list[tuple[float, ...]] = field(default_factory=list)
    gate: list[tuple[int, int]] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    aliases: dict[str, int] = field(default_factory=dict)
    switches: list[tuple[str, list[int]]] = field(default_factory=list)
    switch_at: dict[int, tuple[str, tuple[str, ...]]] = field(default_factory=dict)
    relays: list[str] = field(default_factory=list)
    coils: list[int] = field(default_factory=list)
    pull_drop: list[tuple[float, float]] = field(default_factory=list)
    alternators: list[tuple[str, list[int]]] = field(default_factory=list)
    fields: dict[int, int] = field(default_factory=dict)
    excite: dict[int, float] = field(default_factory=dict)
    fuse_branch: list[int] = field(default_factory=list)
    fuses: list[str] = field(default_factory=list)
    rating: list[float] = field(default_factory=list)
    sup_node: list[int] = field(default_factory=list)
    least: list[float] = field(default_factory=list)
    in_node: list[int] = field(default_factory=list)
    in_low: list[int] = field(default_factory=list)
    level: list[tuple[float, float]] = field(default_factory=list)
    item_kind: list[int] = field(default_factory=list)
    item_unit: list[int] = field(default_factory=list)
    item_code: list[tuple[int, int]] = field(default_factory=list)
    code: list[tuple[int, int, int]] = field(default_factory=list)
    hold_s: list[float] = field(default_factory=list)
    timer_mod: list[int] = field(default_factory=list)
    drv_branch: list[int] = field(default_factory=list)
    drv_name: list[str] = field(default_factory=list)
    drv_asleep: list[int] = field(default_factory=list)
    drv_key: list[int] = field(default_factory=list)
    limit: list[float] = field(default_factory=list)
    mod_ground: list[int] = field(default_factory=list)
    mod_range: list[list[int]] = field(default_factory=list)
    mod_awake: list[int] = field(default_factory=list)
    refs: list[tuple[int, int]] = field(default_factory=list)
    places: dict[tuple[str, str], list[tuple[str, tuple[int, ...]]]] = field(default_factory=dict)
    known: dict[tuple[str, str], tuple[str, float, float]] = field(default_factory=dict)
    _legs: dict[str, list[str]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.nodes = len(self.wires.names)
        self.node_index = dict(self.wires.node_of)
        modules = [p.name for p in self.circuit.parts if p.kind == "module"]
        self.modules = modules
        self.module_number = {key(m): i for i, m in enumerate(modules)}
        lines = self.circuit.modules
        order = [(m, x) for m in modules for x in lines if key(x.module) == key(m)]
        inputs = [(key(m), key(x.name)) for m, x in order if isinstance(x, InputLine)]
        signals = [(key(m), key(x.name)) for m, x in order if isinstance(x, Signal)]
        self.input_number = {k: i for i, k in enumerate(inputs)}
        self.signal_number = {k: i for i, k in enumerate(signals)}
        self.part_order: list[tuple[int, int]] = []
        for part in self.circuit.parts:
            if part.kind == "module":
                self.part_order.append((1, self.module_number[key(part.name)]))
            elif part.kind in ("relay", "starter"):
                self.part_order.append((0, sum(1 for k, _ in self.part_order if k == 0)))
            elif part.kind == "alternator":
                self.part_order.append((2, sum(1 for k, _ in self.part_order if k == 2)))

    def extra(self) -> int:
        """A node nobody named: a hub, or a terminal nothing is joined to."""
        self.nodes += 1
        return self.nodes - 1

    def has(self, part: str, name: str) -> bool:
        """Whether something is joined to the terminal."""
        return (key(part), key(name)) in self.wires.node_of

    def node(self, part: str, name: str) -> int:
        k = (key(part), key(name))
        if k not in self.node_index:
            self.node_index[k] = self.extra()
        return self.node_index[k]

    def named(self, metal: str) -> int:
        part, dot, name = metal.partition(".")
        return self.node(part, name) if dot else self.node("", metal)

    def legs(self, part: str) -> list[str]:
        if not self._legs:
            for p, name in self.wires.node_of:
                self._legs.setdefault(p, []).append(name)
        return self._legs.get(key(part), [])

    def branch(
        self,
        name: str,
        kind: int,
        a: int,
        b: int,
        p: tuple[float, ...],
        gate: int = laws.ALWAYS,
        unit: int = 0,
        alias: tuple[str, ...] = (),
    ) -> int:
        n = len(self.kind)
        self.kind.append(kind)
        self.ends.append((a, b))
        self.p.append((*p, *([0.0] * (4 - len(p)))))
        self.gate.append((gate, unit))
        self.names.append(name)
        for k in (name, *alias):
            self.aliases.setdefault(key(k), n)
        return n

    def locate_name(
        self, part: str, name: str, array: str, index: tuple[int, ...], value: float, sigma: float = 0.1
    ) -> None:
        k = (key(part), key(name))
        self.places.setdefault(k, []).append((array, index))
        self.known.setdefault(k, (part, value, sigma))

    def locate(self, part: Part, name: str, array: str, index: tuple[int, ...], value: float) -> None:
        try:
            sigma = tables.attribute(part.kind, name).tolerance
        except KeyError:
            sigma = 0.0
        self.locate_name(part.name, name, array, index, value, sigma)
        if array == "excite":
            self.excite[index[0]] = value

    def values(self, part: Part, branch: int, names: tuple[str, ...]) -> None:
        """Parameters `names` of the part are p[branch, 0...]."""
        for i, name in enumerate(names):
            self.locate(part, name, "p", (branch, i), self.p[branch][i])

    def switch(self, name: str, rows: list[int], at: tuple[str, tuple[str, ...]] | None = None) -> int:
        self.switches.append((name, rows))
        if at is not None:
            self.switch_at[len(self.switches) - 1] = at
        return len(self.switches) - 1

    def relay(self, part: Part, coil: int) -> int:
        unit = len(self.relays)
        self.relays.append(part.name)
        self.coils.append(coil)
        pull, drop = tables.number(part, "pull_v"), tables.number(part, "drop_v")
        self.pull_drop.append((pull, drop))
        self.locate(part, "pull_v", "pull_drop", (unit, 0), pull)
        self.locate(part, "drop_v", "pull_drop", (unit, 1), drop)
        return unit

    def alternator(self, name: str, rows: list[int]) -> int:
        self.alternators.append((name, rows))
        return len(self.alternators) - 1

    def fuse(self, part: Part, branch: int, rating: float) -> None:
        self.fuses.append(part.name)
        self.fuse_branch.append(branch)
        self.rating.append(rating)
        self.locate(part, "rating_a", "rating", (len(self.rating) - 1,), rating)

    # -- the end ---------------------------------------------------------------------------------
    def _static(self, ground: int, lane: Lane) -> Static:
        def ints(x: object, *shape: int) -> np.ndarray:
            return np.array(x, dtype=np.int32).reshape(shape)

        sizes = [
            len(self.relays),
            len(self.modules),
            len(self.modules),
            len(self.drv_branch),
            len(self.drv_branch),
            len(self.fuses),
            len(self.alternators),
            len(self.in_node),
            len(self.signal_number),
        ]
        at = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int32)
        pad = [(0, 0)] * (SPARE + 1)
        gates = ints(self.gate + pad, -1, 2)
        rows, alts = len(self.cycle) + 1, len(self.alternators)
        return Static(
            self.nodes,
            ground,
            gates[:, 0].copy(),
            gates[:, 1].copy(),
            ints([r for _, r in self.switches], len(self.switches), rows).T.copy(),
            np.array([*self.durations, 0.0]),
            ints([r for _, r in self.alternators], alts, rows).T.copy(),
            ints(self.part_order, -1, 2),
            ints(self.coils, -1),
            ints([self.fields.get(i, -1) for i in range(alts)], -1),
            ints(self.fuse_branch, -1),
            ints(self.mod_ground, -1),
            ints(self.mod_range, -1, 6),
            ints(self.mod_awake, -1),
            ints(self.sup_node, -1),
            ints(self.in_node, -1),
            ints(self.in_low, -1),
            ints(self.item_kind, -1),
            ints(self.item_unit, -1),
            ints(self.item_code, -1, 2),
            ints(self.code, -1, 3),
            np.array(self.hold_s, dtype=np.float64),
            ints(self.timer_mod, -1),
            ints(self.drv_branch, -1),
            ints(self.drv_asleep, -1),
            sum(d.duty is not None and d.duty < 1.0 for d in self.circuit.modules if isinstance(d, Driver)),
            ints(self.drv_key, -1),
            ints([*(int(p.base in KEY_ON) for p in self.cycle), 0], -1),
            ints(self.refs, -1, 2),
            plan_of(self.nodes, ground, lane),
            at,
        )

    def _lane(self, ground: int) -> Lane:
        total = len(self.kind) + SPARE + 1
        spare = SPARE + 1
        ends = np.array(self.ends + [(ground, ground)] * spare, dtype=np.int32).reshape(-1, 2)

        def free(n: int) -> np.ndarray:
            return np.full(n, -1, dtype=np.int8)

        return Lane(
            np.array(self.kind + [laws.NONE] * spare, dtype=np.int32),
            ends[:, 0].copy(),
            ends[:, 1].copy(),
            np.array(self.p + [(0.0,) * 4] * spare, dtype=np.float64).reshape(-1, 4),
            np.zeros(total),
            np.zeros(total, np.int8),
            free(len(self.switches)),
            free(len(self.relays)),
            free(len(self.drv_branch)),
            np.zeros(len(self.modules), np.int8),
            np.zeros(len(self.in_node), np.int8),
            np.array(self.pull_drop, dtype=np.float64).reshape(-1, 2),
            np.array([self.excite.get(i, 0.0) for i in range(len(self.alternators))], dtype=np.float64),
            np.array(self.rating, dtype=np.float64),
            np.array(self.level, dtype=np.float64).reshape(-1, 2),
            np.array(self.limit, dtype=np.float64),
            np.array(self.least, dtype=np.float64),
        )

    def network(self) -> Network:
        """Freeze what was collected; ground is the minus post of the first battery."""
        battery = next((p.name for p in self.circuit.parts if p.kind == "battery"), None)
        if battery is None:
            raise ModelError(
                (Problem("no-battery", "a circuit needs a battery", remedy="Add a battery line."),)
            )
        ground = self.node(battery, "-")
        of_part: dict[str, list[int]] = {}
        parts = {key(part.name) for part in self.circuit.parts}
        for n, name in enumerate(self.names):
            words = key(name).split(".")
            for k in range(1, len(words) + 1):
                part = ".".join(words[:k])
                if part in parts:
                    of_part.setdefault(part, []).append(n)
        items = [f"relay {r}" for r in self.relays] + [f"alive {m}" for m in self.modules]
        items += [f"awake {m}" for m in self.modules] + [f"driver {d}" for d in self.drv_name]
        items += [f"trip {d}" for d in self.drv_name] + [f"fuse {f}" for f in self.fuses]
        items += [f"charging {a}" for a, _ in self.alternators]
        items += [f"input {m}.{i}" for m, i in self.input_number] + [
            f"signal {m}.{s}" for m, s in self.signal_number
        ]
        lane = self._lane(ground)
        parameters = tuple(
            Parameter(p, k[1], v, sigma, tuple(self.places[k])) for k, (p, v, sigma) in self.known.items()
        )
        return Network(
            self.circuit,
            self.wires,
            tuple(self.cycle),
            self._static(ground, lane),
            lane,
            tuple(self.names),
            self.aliases,
            {k: tuple(v) for k, v in of_part.items()},
            tuple(self.relays),
            tuple(n for n, _ in self.switches),
            self.switch_at,
            tuple(self.drv_name),
            tuple(self.modules),
            tuple(self.fuses),
            tuple(n for n, _ in self.alternators),
            {f"{m}.{i}": n for (m, i), n in self.input_number.items()},
            tuple(items),
            parameters,
            self.node_index,
        )
