"""Proofs of the folder feeds/, and ways of altering them so that they are proofs no more."""

from __future__ import annotations

import copy
import json
import random
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from amptrail.feed.proof import write_proof
from amptrail.feed.verdict import Verdict, judge
from amptrail.jobs.base.faultnames import named_or_text
from amptrail.jobs.solved.feeds import find_feed
from amptrail.sheet import parse

FOLDER = Path(__file__).parents[2] / "feeds"
Json = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Row:
    """One feed of the folder: its sheet, its words, the fault, the purpose, the verdict written by hand."""

    id: str
    sheet: str
    feed: str
    against: str
    purpose: str
    verdict: str


@cache
def rows() -> tuple[Row, ...]:
    with (FOLDER / "expected.toml").open("rb") as f:
        told = tomllib.load(f)["feed"]
    return tuple(
        Row(r["id"], r["sheet"], r["feed"], r["against"], r.get("purpose", "leave"), r["verdict"])
        for r in told
    )


def row(name: str) -> Row:
    return next(r for r in rows() if r.id == name)


@cache
def sheet_text(name: str) -> str:
    return (FOLDER / f"{name}.sheet").read_text(encoding="utf-8")


@cache
def verdict(r: Row) -> Verdict:
    c = parse(sheet_text(r.sheet))
    against = tuple(named_or_text(c, r.against))
    return judge(c, find_feed(c, r.feed), r.purpose, against)  # type: ignore[arg-type]


@cache
def proof_text(r: Row, forged: bool = False) -> str:
    """The proof of a feed; `forged`: as if a feed that does not hold held."""
    v = verdict(r)
    if forged:
        v = replace(v, verdict="holds")
    c = parse(sheet_text(r.sheet))
    return json.dumps(write_proof(v, sheet_text(r.sheet), c, find_feed(c, r.feed)))


def shuffled(x: Any, rng: random.Random) -> Any:
    """The same JSON with the keys of every object in another order."""
    if isinstance(x, dict):
        names = list(x)
        rng.shuffle(names)
        return {n: shuffled(x[n], rng) for n in names}
    return [shuffled(v, rng) for v in x] if isinstance(x, list) else x


# ---- kinds of alteration: each gives (proof, sheet) ---
Altered = tuple[Json, str]
Alter = Callable[[Json, str, random.Random], Altered]


def _value(p: Json, sheet: str, rng: random.Random) -> Altered:
    """One volt, ampere, state, time, status, margin or number of a corner is another."""
    point = rng.choice(p["points"])
    step = rng.choice(rng.choice(p["stories"])["steps"])
    what = rng.choice(("volts", "amps", "state", "t_s", "status", "margin", "corner", "point"))
    if what in ("volts", "amps") and point[what]:
        name = rng.choice(list(point[what]))
        point[what][name] += rng.choice((-1, 1)) * (0.001 + 0.01 * abs(point[what][name]))
    elif what == "state":
        word = rng.choice(list(point["state"]))
        names = point["state"][word]
        names.pop() if names else names.append("NOTHING")
    elif what == "status":
        step["status"] = "race" if step["status"] == "settled" else "settled"
    elif what == "margin":
        m = p["margins"][rng.choice(list(p["margins"]))]
        word = rng.choice(("figure", "limit", "margin"))
        m[word] += 0.01 + 0.01 * abs(m[word])
    elif what == "corner":
        corner = rng.choice([c for c in p["corners"] if c["values"]])
        name = rng.choice(list(corner["values"]))
        corner["values"][name] *= 1.05
    elif what == "point":
        here = p["points"][step["point"]]
        others = [n for n, x in enumerate(p["points"]) if x["volts"] != here["volts"]]
        step["point"] = rng.choice(others)
    else:
        step["t_s"] += rng.choice((-0.5, 0.5, 5.0))
    return p, sheet


def _phase(p: Json, sheet: str, rng: random.Random) -> Altered:
    """A phase is missing from a story, or from all of them."""
    if rng.random() < 0.7:
        steps = rng.choice(p["stories"])["steps"]
        del steps[rng.randrange(len(steps))]
        return p, sheet
    gone = rng.choice(p["phases"])
    p["phases"].remove(gone)
    for s in p["stories"]:
        s["steps"] = [x for x in s["steps"] if x["phase"] != gone]
    return p, sheet


def _start(p: Json, sheet: str, rng: random.Random) -> Altered:
    """A start is missing: its name, its stories, or both; or it is missing at one corner."""
    gone, how = rng.choice(p["starts"]), rng.randrange(4)
    corner = rng.choice(p["corners"])["name"]
    if how in (0, 2):
        p["starts"].remove(gone)
    if how in (1, 2):
        p["stories"] = [s for s in p["stories"] if s["start"] != gone]
    if how == 3:
        gone = rng.choice([s["start"] for s in p["stories"] if s["corner"] == corner])
        p["stories"] = [s for s in p["stories"] if (s["start"], s["corner"]) != (gone, corner)]
    return p, sheet


def _rule(p: Json, sheet: str, rng: random.Random) -> Altered:
    """A rule is missing."""
    gone = rng.choice(p["rules"])
    p["rules"].remove(gone)
    if rng.random() < 0.5:
        p["margins"].pop(gone, None)
    return p, sheet


def _sheet(p: Json, sheet: str, rng: random.Random) -> Altered:
    """Another sheet: one letter changed; a part of another figure, or a wholly other one, with its hash."""
    how = rng.randrange(3)
    if how == 0:
        n = rng.randrange(len(sheet))
        return p, sheet[:n] + " " + sheet[n:]
    if how == 1:
        emf = re.compile(r"(?m)^battery (\S+) (\S+) V")
        other = emf.sub(lambda m: f"battery {m[1]} {float(m[2]) + rng.uniform(0.05, 0.4):.3f} V", sheet)
    else:
        names = [x.stem for x in FOLDER.glob("*.sheet")]
        other = sheet_text(rng.choice([n for n in sorted(names) if sheet_text(n) != sheet]))
    p["sheet_sha256"] = sha256(other.encode()).hexdigest()
    return p, other


def _order(p: Json, sheet: str, rng: random.Random) -> Altered:
    """Two steps of a story have changed places, or two names of a list."""
    if rng.random() < 0.2:
        names = p[rng.choice(("rules", "starts", "phases"))]
        a, b = rng.sample(range(len(names)), 2)
        names[a], names[b] = names[b], names[a]
        return p, sheet
    steps = rng.choice(p["stories"])["steps"]
    a, b = rng.sample(range(len(steps)), 2)
    alike = {n: v for n, v in steps[a].items() if n != "t_s"} == {
        n: v for n, v in steps[b].items() if n != "t_s"
    }
    steps[a], steps[b] = steps[b], steps[a]
    if not alike and rng.random() < 0.5:  # and their times are put right (of like steps: no change at all)
        steps[a]["t_s"], steps[b]["t_s"] = steps[b]["t_s"], steps[a]["t_s"]
    return p, sheet


CUT = r" cut .*"
WEAKER: tuple[tuple[str, str], ...] = (
    (r"wire [0-9.]+ mm2", "wire {wire} mm2"),
    (r"([0-9.]+) m\b(?!m)", "{metres} m"),
    (r"fuse [0-9.]+ A", "fuse {fuse} A"),
    (r" fuse [0-9.]+ A", ""),
    (r" diode", ""),
    (CUT, ""),
    (r"from \S+ to", "from {source} to"),
)


def _only_the_fault(lines: list[str], against: str | None) -> bool:
    cuts = [n for line in lines for m in re.findall(r" cut (.*)", line) for n in m.split(", ")]
    return all(re.search(rf"(^|and ){re.escape(n)} open", against or "") for n in cuts)


def _weaker(p: Json, sheet: str, rng: random.Random) -> Altered:
    """The proof of another feed: thinner or longer wire, bigger or no fuse, no diode, no cut …"""
    before = list(p["feed"])
    sources = sorted(n for n in p["points"][0]["volts"] if re.fullmatch(r"F\w*\.(in|out)|BAT\.\+", n))
    while p["feed"] == before:
        pattern, put = rng.choice(WEAKER)
        if pattern == CUT and _only_the_fault(before, p["against"]):
            continue  # what is cut is open already: not another circuit, and the proof is as true of it
        said = {"wire": rng.choice((0.22, 0.35)), "metres": rng.choice((9, 14, 25)),
                "fuse": rng.choice((25, 30, 40)), "source": rng.choice(sources)}  # fmt: skip
        p["feed"] = [re.sub(pattern, put.format(**said), line) for line in before]
    return p, sheet


KINDS: dict[str, Alter] = {
    "changed value": _value, "missing phase": _phase, "missing start": _start, "missing rule": _rule,
    "another sheet": _sheet, "re-ordered timeline": _order, "weaker feed": _weaker,
}  # fmt: skip


def alter(kind: str, proof: Json, sheet: str, rng: random.Random) -> Altered:
    """A proof altered in one of the ways of `KINDS`, and the sheet it is to be checked against."""
    return KINDS[kind](copy.deepcopy(proof), sheet, rng)
