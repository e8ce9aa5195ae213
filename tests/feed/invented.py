"""Invented circuits of the oracle format with functions, interlocks and feeds of every temptation."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from random import Random
from typing import Any

Json = dict[str, Any]
_spec = importlib.util.spec_from_file_location(
    "random_oracle_of_exchange", Path(__file__).parents[1] / "exchange" / "random_oracle.py"
)
assert _spec is not None and _spec.loader is not None
_module = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_module)

LOADS = ("lamp", "motor", "load")


def _nets(d: Json) -> list[str]:
    """Nets a lead could be put on, each once, in the order of the parts."""
    found: list[str] = ["bat+"]
    for p in d["parts"]:
        found += [p[k] for k in ("a", "b", "c1", "c2", "com", "no", "nc", "k") if isinstance(p.get(k), str)]
        found += [x["net"] for k in ("supplies", "inputs", "drivers", "refs") for x in p.get(k, [])]
    return [n for n in dict.fromkeys(found) if n not in ("body", "bat-")]


def _feed(r: Random, d: Json, number: int) -> Json:
    nets, wires = _nets(d), [p["id"] for p in d["parts"] if p["kind"] in ("wire", "pin")]
    hot = [p["b"] for p in d["parts"] if p["kind"] in ("fuse", "switch")] + ["bat+"]
    a, b = (
        r.choice((r.choice(hot), r.choice(nets))),
        r.choice([*nets, *[p["a"] for p in d["parts"] if p["kind"] in LOADS]]),
    )
    if a == b:
        b = "body"
    extra: list[Json] = []
    at = a
    if r.random() < 0.7:
        extra.append(
            {
                "id": "JF",
                "kind": "fuse",
                "a": at,
                "b": "jn",
                "rating_a": r.choice((2, 5, 10, 20)),
                "ohm": 0.01,
            }
        )
        at = "jn"
    if r.random() < 0.2:
        relay = {"kind": "relay", "coil_ohm": 85, "pull_in_v": 7.0, "drop_out_v": 3.0, "contact_ohm": 0.003}
        relay |= {"c1": r.choice(nets), "c2": r.choice(("body", r.choice(nets))), "com": at, "no": "jk"}
        extra.append({"id": "JK", **relay, "coil_diode": r.random() < 0.5})
        at = "jk"
    if r.random() < 0.2:
        extra.append({"id": "JD", "kind": "diode", "a": at, "k": "jd"})
        at = "jd"
    extra.append({"id": "J", "kind": "wire", "a": at, "b": b, "ohm": 0.02})
    base = [{"type": "open", "branch": r.choice(wires)}]
    cut = [r.choice(wires)] if r.random() < 0.3 else []
    return {"id": f"J{number}", "text": f"feed {number}", "base_fault": base, "extra": extra, "cut": cut}


def circuit(seed: int, feeds: int = 6) -> Json:
    """A random circuit with functions on its loads and modules, and feeds anywhere."""
    d: Json = _module.circuit(seed)
    r = Random(seed * 7 + 1)
    awake = [p for p in d["plan"] if p["base"] != "asleep"]
    for n, p in enumerate([p for p in d["parts"] if p["kind"] in LOADS][:4]):
        on = [x["phase"] for x in awake if r.random() < 0.6]
        off = [x["phase"] for x in d["plan"] if x["phase"] not in on and r.random() < 0.7]
        d["functions"].append({"id": f"f{n}", "a": p["a"], "b": p["b"], "min_v": 8.0, "max_off_v": 1.0,
                               "on": on, "off": off})  # fmt: skip
    for p in d["parts"]:
        if p["kind"] == "module":
            on = [x["phase"] for x in awake if x["base"] != "after_run"]
            d["functions"].append({"id": f"{p['id']}_awake", "signal": f"{p['id']}.awake", "on": on,
                                   "off": ["sleep"]})  # fmt: skip
    switch = r.choice([p["id"] for p in d["parts"] if p["kind"] == "switch"])
    d["interlocks"].append({"switch": switch, "function": r.choice(d["functions"])["id"]})
    d["jumpers"] = [_feed(r, d, n) for n in range(feeds)]
    return d
