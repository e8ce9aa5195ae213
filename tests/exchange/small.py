"""Small circuits of the oracle format, each made for one sentence of its text (authorities/oracle/README.md
and the addendum to it). Every one stands on the same frame: 12.6 V behind 10 mohm, a strap from body to
bat-."""

from __future__ import annotations

import json
from typing import Any

from amptrail.cli.dispatch import answer
from amptrail.cli.files import Files

Json = dict[str, Any]
EMF, INNER, STRAP = 12.6, 0.01, 0.001
PLAN = (("ign", "ignition_on", 10), ("run", "running", 20), ("sleep", "asleep", 40))
WITH = ("meter", "lamp", "loaded", "clamp", "ohmmeter")


def circuit(
    *parts: Json,
    plan: tuple[tuple[str, str, float], ...] = PLAN,
    faults: dict[str, list[Json]] | None = None,
    clamps: tuple[str, ...] = (),
    ohms: tuple[str, ...] = (),
    battery: Json | None = None,
) -> Json:
    """A whole circuit: the parts on the frame, a point at every net, clamps `I_<branch>`, ohms `R_<net>`."""
    frame: list[Json] = [
        {"id": "BAT", "kind": "battery", "pos": "bat+", "neg": "bat-", "emf": EMF, "r_ohm": INNER}
        | (battery or {}),
        {"id": "STRAP", "kind": "wire", "a": "body", "b": "bat-", "ohm": STRAP},
    ]
    every = [*frame, *parts]
    nets = dict.fromkeys(n for p in every for n in _nets(p))
    return {
        "format": "oracle-circuit-1", "name": "small", "title": "small", "notes": "",
        "plan": [{"phase": p, "base": b, "s": s} for p, b, s in plan], "sleep_ma_max": 50, "parts": every,
        "points": [{"id": f"p_{n}", "net": n} for n in nets if n != "bat-"]
        + [{"id": f"I_{b}", "clamp": True, "branch": b} for b in clamps],
        "ohm_points": [{"id": f"R_{n}", "net": n} for n in ohms],
        "functions": [], "interlocks": [], "jumpers": [],
        "faults": [{"id": k, "text": k, "set": v} for k, v in (faults or {}).items()],
    }  # fmt: skip


def _nets(p: Json) -> list[str]:
    keys = ("a", "b", "k", "c1", "c2", "com", "no", "nc", "pos", "neg", "bplus", "gnd", "dplus", "ground")
    out = [p[k] for k in keys if k in p] + list(p.get("nets", ()))
    for group in ("supplies", "inputs", "drivers", "refs"):
        out += [x["net"] for x in p.get(group, ())]
    return out


def wire(name: str, a: str, b: str, ohm: float = 0.01) -> Json:
    return {"id": name, "kind": "wire", "a": a, "b": b, "ohm": ohm}


def load(name: str, a: str, b: str, ohm: float) -> Json:
    return {"id": name, "kind": "load", "a": a, "b": b, "ohm": ohm}


def switch(name: str, a: str, b: str, *phases: str) -> Json:
    return {"id": name, "kind": "switch", "a": a, "b": b, "closed_in": list(phases), "ohm": 0.01}


def fuse(name: str, a: str, b: str, rating: float) -> Json:
    return {"id": name, "kind": "fuse", "a": a, "b": b, "ohm": 0.005, "rating_a": rating}


def relay(name: str, c1: str, c2: str, com: str, **more: Any) -> Json:
    return {
        "id": name, "kind": "relay", "c1": c1, "c2": c2, "com": com, "coil_ohm": 80, "pull_in_v": 7.0,
        "drop_out_v": 3.0, "contact_ohm": 0.003, "coil_diode": False, **more,
    }  # fmt: skip


def module(name: str, ground: str = "body", **more: Any) -> Json:
    """A module fed from bat+ unless `supplies` says otherwise; awake always unless `signals` do."""
    return {
        "id": name, "kind": "module", "ground": ground, "min_v": 6.0,
        "supplies": [{"net": "bat+", "awake_ohm": 30, "asleep_ohm": 12000}],
        "inputs": [], "drivers": [], "refs": [], "signals": [{"name": "awake", "expr": "true"}], **more,
    }  # fmt: skip


def low(name: str, net: str, when: Any, **more: Any) -> Json:
    """A low-side output."""
    return {
        "name": name, "net": net, "type": "low", "on_ohm": 0.1, "leak_ohm": 1e6, "i_max": 5.0, "when": when,
        **more,
    }  # fmt: skip


def grounded_input(name: str, net: str, on_v: float = 5.0, off_v: float = 3.5, **more: Any) -> Json:
    return {"name": name, "net": net, "pull": "ground", "ohm": 10000, "on_v": on_v, "off_v": off_v, **more}


class Told:
    """What `convert` and then `expect` answer about a circuit with one of its faults, or none."""

    def __init__(self, d: Json, fault: str | None = None, *more: str) -> None:
        made = answer(["convert", "c.json", "--to", "sheet"], Files({"c.json": json.dumps(d)}))
        assert made["exit"] == 0, made["problems"]
        argv = ["expect", "c.sheet", "--cycles", "2", "--nominal", *more]
        argv += [x for i in WITH for x in ("--with", i)]
        argv += [x for p in (*d["points"], *d["ohm_points"]) for x in ("--at", p["id"])]
        argv += ["--fault", fault] if fault else []
        got = answer(argv, Files({"c.sheet": made["text"]}))
        assert got["exit"] == 0, got["problems"]
        self.phases: dict[str, Json] = {p["phase"]: p for p in got["runs"][0]["phases"]}
        assert len(self.phases) == len(got["runs"][0]["phases"]), "two rows for one phase"

    def row(self, phase: str, point: str, instrument: str = "meter") -> Json:
        for r in self.phases[phase]["readings"]:
            if r["point"] == point and r["instrument"] == instrument:
                return dict(r)
        raise AssertionError(f"no reading of {point} with {instrument} in {phase}")

    def volts(self, phase: str, net: str) -> float:
        return float(self.row(phase, f"p_{net}")["value"])

    def amps(self, phase: str, branch: str) -> float:
        return float(self.row(phase, f"I_{branch}", "clamp")["value"])

    def state(self, phase: str, what: str) -> list[str]:
        return list(self.phases[phase]["state"][what])
