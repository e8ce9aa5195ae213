"""Random circuits in the oracle format: every kind of part, modules with a bus, references, holds and pulses.

Not any graph: fused branches of a vehicle, so that what is on, awake and blown has something to do.
"""

from __future__ import annotations

from random import Random
from typing import Any

Json = dict[str, Any]
BASES = (
    ("ign", "ignition_on", 10),
    ("crank", "cranking", 3),
    ("run", "running", 120),
    ("after", "after_run", 5),
)


class Maker:
    """Adds parts to one circuit, each with an id and nets of its own."""

    def __init__(self, seed: int) -> None:
        self.r = Random(seed)
        self.parts: list[Json] = []
        self.count: dict[str, int] = {}
        self.plan = [
            {"phase": p, "base": b, "s": s} for p, b, s in BASES if b != "cranking" or self.r.random() < 0.7
        ]
        self.plan.append({"phase": "sleep", "base": "asleep", "s": 600})
        self.phases = [p["phase"] for p in self.plan]
        self.ids: dict[str, list[str]] = {}

    def id(self, prefix: str) -> str:
        self.count[prefix] = self.count.get(prefix, 0) + 1
        return f"{prefix}{self.count[prefix]}"

    def net(self) -> str:
        return self.id("n_")

    def add(self, kind: str, prefix: str, **more: Any) -> str:
        name = more.pop("id", None) or self.id(prefix)
        self.parts.append({"id": name, "kind": kind, **more})
        self.ids.setdefault(kind, []).append(name)
        return name

    def some_phases(self) -> list[str]:
        return [p for p in self.phases[:-1] if self.r.random() < 0.6]

    def through(self, a: str) -> str:
        """A wire, pin or splice from net a to a new net."""
        b = self.net()
        what = self.r.choice(("wire", "wire", "ohms", "pin", "joint", "splice"))
        if what == "wire":
            self.add(
                "wire",
                "W",
                a=a,
                b=b,
                mm2=self.r.choice((0.5, 1.0, 2.5)),
                length_m=round(self.r.uniform(0.2, 4), 2),
            )
        elif what == "ohms":
            self.add("wire", "W", a=a, b=b, ohm=round(self.r.uniform(0.001, 0.05), 4))
        elif what == "pin":
            cavity = str(len(self.parts))
            more = {"connector": f"X{self.r.randint(1, 3)}", "cavity": cavity}
            self.add("pin", "", id=f"{more['connector']}/{cavity}", a=a, b=b, ohm=0.002, **more)
        elif what == "joint":
            self.add("pin", "P", a=a, b=b, ohm=0.001)
        else:
            self.add("splice", "S", nets=[a, b] + ([self.net()] if self.r.random() < 0.3 else []))
        return b

    def fused(self, a: str) -> str:
        b = self.net()
        rating = self.r.choice((5, 10, 20, 30))
        self.add("fuse", "F", a=a, b=b, rating_a=rating, ohm=round(0.09 / rating, 6))
        return b

    def ground(self, nets: list[str]) -> None:
        more: Json = {"leg_ohm": 0.0007, "ohm": 0.0006} if self.r.random() < 0.3 else {}
        self.add("ground", "G", nets=nets, **more)

    def consumer(self, a: str) -> None:
        """A load from net a to a ground."""
        b = self.net()
        kind = self.r.choice(("lamp", "motor", "load", "diode"))
        if kind == "lamp":
            self.add("lamp", "L", a=a, b=b, v_rated=12.0, w_rated=self.r.choice((3, 5, 21, 55)))
        elif kind == "motor":
            self.add(
                "motor", "M", a=a, b=b, r_ohm=0.5, i_break=2.5, i_run=self.r.choice((5.0, 9.0)), v_rated=13.0
            )
        elif kind == "load":
            self.add("load", "R", a=a, b=b, ohm=round(self.r.uniform(1, 300), 2))
        else:
            mid = self.net()
            more: Json = {"is": 1e-9, "n": 1.7, "rs": 0.05} if self.r.random() < 0.5 else {}
            self.add("diode", "D", a=a, k=mid, **more)
            self.add("load", "R", a=mid, b=b, ohm=47)
        self.ground([self.through(b)])

    def relay(self, feed: str, c1: str, c2: str) -> None:
        no, nc = self.net(), self.net()
        more: Json = {"no": no}
        if self.r.random() < 0.4:
            more["nc"] = nc
        diode = self.r.random() < 0.5
        self.add(
            "relay", "K", c1=c1, c2=c2, com=feed, coil_ohm=self.r.choice((70, 85, 100)), pull_in_v=7.0,
            drop_out_v=3.0, contact_ohm=0.003, coil_diode=diode, **more,
        )  # fmt: skip
        self.consumer(self.through(no))
        if "nc" in more:
            self.consumer(nc)

    def expression(self, names: list[str], depth: int = 0) -> Any:
        if depth > 2 or self.r.random() < 0.4:
            return self.r.choice(names)
        verb = self.r.choice(("and", "or", "not", "hold", "pulse"))
        inner = self.expression(names, depth + 1)
        if verb in ("hold", "pulse"):
            return [verb, inner, self.r.choice((2, 8, 15))]
        return ["not", inner] if verb == "not" else [verb, inner, self.expression(names, depth + 1)]

    def module(self, supply: str, key: str, others: list[str]) -> str:
        """A module woken by the key, with drivers that pull relays, a reference, and ears for the others."""
        g, low, high, ref, button = (self.net() for _ in range(5))
        self.ground([self.through(g)])
        names = ["in.key", "in.button", "phase.run", *others]
        signals = [{"name": "awake", "expr": ["hold", "in.key", self.r.choice((3, 20))]}]
        signals += [{"name": f"s{i}", "expr": self.expression([*names, "sig.awake"])} for i in range(2)]
        me = self.add(
            "module", "ECU", ground=g, min_v=6.0,
            supplies=[{"net": supply, "awake_ohm": 30, "asleep_ohm": 12000}],
            inputs=[
                {"name": "key", "net": key, "pull": "ground", "ohm": 10000, "on_v": 5.0, "off_v": 3.5},
                {"name": "button", "net": button, "pull": "supply", "ohm": 4700, "on_v": 2.0, "off_v": 4.0,
                 "active": "low"},
                {"name": "sense", "net": ref, "pull": "volts", "ohm": 2200, "volts": 5.0, "on_v": 2.0,
                 "off_v": 1.0},
            ],
            drivers=[
                {"name": "low", "net": low, "type": "low", "on_ohm": 0.15, "leak_ohm": 1e6, "i_max": 2.5,
                 "when": "sig.s0"},
                {"name": "high", "net": high, "type": "high", "on_ohm": 0.05, "leak_ohm": 2e5, "i_max": 12.0,
                 "when": ["or", "sig.s1", "sig.s0"]},
            ],
            refs=[{"name": "v5", "net": ref, "volts": 5.0, "ohm": 0.3, "limit_a": 0.06}], signals=signals,
        )  # fmt: skip
        self.add("switch", "B", a=button, b="body", closed_in=self.some_phases(), ohm=0.01)
        self.add("load", "R", a=ref, b=g, ohm=1000)
        self.relay(self.fused("fb"), supply, self.through(low))
        self.consumer(self.through(high))
        return me


def _frame(m: Maker) -> str:
    """Battery, strap, alternator, key switch; gives the switched net."""
    crank = [p["phase"] for p in m.plan if p["base"] == "cranking"]
    more: Json = {"crank_load": {"phases": crank, "ohm": 0.06}} if crank else {}
    if m.r.random() < 0.3:
        more["r_charge_ohm"] = 0.15
    m.add("battery", "BAT", pos="bat+", neg="bat-", emf=12.6, r_ohm=0.01, **more)
    m.add("wire", "STRAP", a="body", b="bat-", ohm=0.0015)
    m.add("wire", "MAIN", a="bat+", b="fb", mm2=10, length_m=0.8)
    key = m.net()
    m.add(
        "switch",
        "KEY",
        a=m.fused("fb"),
        b=key,
        closed_in=[p for p in m.phases if p in ("ign", "crank", "run")],
        ohm=0.006,
    )
    alt: Json = {"bplus": "bat+", "gnd": "body", "emf": 14.5, "r_ohm": 0.01, "spin_in": ["run"]}
    if m.r.random() < 0.5:
        alt |= {"dplus": m.net(), "field_ohm": 22, "excite_a": 0.09}
        m.add("lamp", "WARN", a=key, b=alt["dplus"], v_rated=12.0, w_rated=3)
    m.add("alternator", "ALT", **alt)
    return key


def _faults(m: Maker) -> list[Json]:
    """One fault of every kind the circuit has a place for."""
    r, nets = m.r, [p["b"] for p in m.parts if p["kind"] in ("wire", "pin")]
    wires = m.ids["wire"]
    sets: list[list[Json]] = [
        [{"type": "open", "branch": r.choice(wires)}],
        [
            {"type": "series", "branch": r.choice(wires), "ohm": 0.8},
            {"type": "open", "branch": r.choice(wires)},
        ],
        [{"type": "bridge", "nets": [r.choice(nets), "body"], "ohm": 0.05}],
        [{"type": "bridge", "nets": [r.choice(nets), r.choice(nets[:-1])], "ohm": 150}],
        [{"type": "open", "branch": f"{r.choice(m.ids['ground'])}.0"}],
        [{"type": "param", "part": "BAT1", "key": "emf", "value": 11.6}],
    ]
    for kind, several in (
        ("relay", ("stuck_on", "stuck_off")),
        ("module", ("no_sleep", "module_dead")),
        ("motor", ("seized",)),
    ):
        if m.ids.get(kind):
            sets.append([{"type": r.choice(several), "part": r.choice(m.ids[kind])}])
    if m.ids.get("relay"):
        k = r.choice(m.ids["relay"])
        sets.append(
            [{"type": "series", "branch": f"{k}.no", "ohm": 0.3}, {"type": "open", "branch": f"{k}.coil"}]
        )
    if m.ids.get("module"):
        driver = f"{r.choice(m.ids['module'])}.low"
        sets.append([{"type": r.choice(("driver_dead", "driver_on")), "driver": driver}])
    return [{"id": f"F{i}", "text": f"fault {i}", "set": s} for i, s in enumerate(sets, 1)]


def circuit(seed: int) -> Json:
    """A circuit of the format, the same for the same seed."""
    m = Maker(seed)
    key = _frame(m)
    for _ in range(m.r.randint(1, 3)):
        out = m.net()
        m.add("switch", "SW", a=m.through(m.fused("fb")), b=out, closed_in=m.some_phases(), ohm=0.01)
        m.consumer(m.through(out))
    coil_ground = m.net()
    m.relay(m.fused("fb"), m.through(key), coil_ground)
    m.ground([coil_ground])
    heard: list[str] = []
    for _ in range(m.r.randint(0, 2)):
        me = m.module(m.through(m.fused("fb")), m.through(key), heard)
        heard.append(f"{me}.sig.s0")
    first, last = m.parts[2]["b"], m.parts[-1]["id"]
    return {
        "format": "oracle-circuit-1", "name": f"random_{seed}", "notes": "",
        "title": f"Invented circuit {seed}",
        "plan": m.plan, "sleep_ma_max": m.r.choice((20, 35, 50)), "parts": m.parts,
        "points": [
            {"id": "p_fb", "net": first}, {"id": "across", "net": "bat+", "ref": "body"},
            {"id": "I_last", "clamp": True, "branch": last if m.parts[-1]["kind"] != "module" else "BAT1"},
            {"id": "I_coil", "clamp": True, "branch": "K1.coil"},
        ],
        "ohm_points": [{"id": "strap", "net": "body", "ref": "bat-"}],
        "functions": [
            {
                "id": "fed", "a": first, "b": "body", "min_v": 9.0, "max_off_v": 1.0,
                "on": ["run"], "off": ["sleep"],
            }
        ],
        "faults": _faults(m), "interlocks": [{"switch": "KEY1", "function": "fed"}],
        "jumpers": [
            {
                "id": "J1", "text": "feed", "base_fault": [{"type": "open", "branch": "MAIN1"}],
                "extra": [
                    {"id": "JF", "kind": "fuse", "a": "bat+", "b": "jn", "rating_a": 5, "ohm": 0.018},
                    {"id": "JW", "kind": "wire", "a": "jn", "b": first, "ohm": 0.02},
                ],
                "cut": ["MAIN1"],
            }
        ],
    }  # fmt: skip


def odd(seed: int) -> Json:
    """The same circuit with what the format allows and ordinary circuits seldom say."""
    d, r = circuit(seed), Random(f"odd/{seed}")
    for p in d["parts"]:
        if p["kind"] == "alternator" and r.random() < 0.3:
            p["spin_in"] = []
        if p["kind"] == "battery" and r.random() < 0.5:
            p["crank_load"] = {"phases": ["ign"], "ohm": 0.08}
        if p["kind"] == "module":
            _odd_module(p, r)
    return d


def _odd_module(p: Json, r: Random) -> None:
    if r.random() < 0.5:
        p["supplies"].append({"net": "fb", "awake_ohm": 60, "asleep_ohm": 20000, "min_v": 8.0})
    if r.random() < 0.5:
        del p["inputs"][1]["on_v"], p["inputs"][1]["off_v"]
    if r.random() < 0.5:
        p["inputs"][1]["from"] = p["supplies"][0]["net"]
    for d in p["drivers"]:
        d |= {k: v for k, v in (("body_diode", False), ("runs_asleep", True)) if r.random() < 0.4}
    if r.random() < 0.3:
        del p["min_v"]
