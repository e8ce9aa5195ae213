"""How far `condemn` can be trusted: vehicles with a known fault answer every test it offers.

    python -m benchmarks.dead_parts [--most N] [--seed S]

For each demo a sample of causes is the truth. The sheet of the part at fault should end proven; the sheet of
every other part that one might buy must not. Peers in the same run: `likely` calls dead what `suspects`
calls almost certain (95 %) after the same readings, `swapper` calls dead the part that leads.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from random import Random

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.circuit.phases import drive_cycle, names_phase
from amptrail.faults import Hypothesis, catalogue
from amptrail.jobs.evidence.words import does
from amptrail.jobs.judging.claims import LOADS, may_condemn
from amptrail.jobs.judging.proofsheet import Proof, proof_of
from amptrail.jobs.judging.shows import Offer, lamp_words
from amptrail.jobs.judging.suspects import judge
from amptrail.jobs.practise.practicevehicle import OVER_RANGE_OHM
from amptrail.jobs.solved import solving
from amptrail.jobs.solved.conditions import Conditions
from amptrail.jobs.solved.observe import Observation
from amptrail.sheet import parse
from amptrail.sheet.words import free_text, name_text

DEMOS = Path(__file__).parents[1] / "demos"
SURE = 0.95
BOUGHT = (*LOADS, "relay", "module")
Truth = tuple[Fault, ...]


def filled(circuit: Circuit, truth: Truth, x: Offer, right: bool = True) -> str:
    """The line of a test as a vehicle with this fault answers it."""
    t = x.test
    if t.said is not None and t.said.kind == "looks":
        return x.line.replace("{value}", "right" if right else "wrong")
    got = solving.solved(circuit, [truth], t.conditions, keep=False)
    if t.instrument == "eye":  # a function or part: does it, in the phase, at both of two key turns?
        name = t.said.part if t.said is not None else x.line.split(" in ")[0].strip("`")
        said = t.said or Observation(0, "", "works", t.phase, part=name)
        works = float(does(circuit, said, got)[0]) > 0.5
        if "works {value}" in x.line:
            return x.line.replace("{value}", "2 of 2" if works else "0 of 2")
        return x.line.replace("{value}", "works" if works else "does not work")
    value = float(got.measure([(t.spot, t.instrument, t.phase)])[0][0, 0])
    if t.instrument == "lamp":
        return x.line.replace("{value}", lamp_words(value))
    if t.instrument == "ohmmeter":
        return x.line.replace("{value}", "over range" if value > OVER_RANGE_OHM else f"{value:.1f} ohm")
    unit = "A" if t.spot.what == "amps" else "V"
    return x.line.replace("{value}", f"{value:.2f} {unit}")


def walked(circuit: Circuit, truth: Truth, start: str, part: str, most: int = 6) -> tuple[Proof, str]:
    """Every test of the sheet of a part answered, round after round, until nothing new is asked."""
    text = start
    for _ in range(most):
        p = proof_of(judge(circuit, text, "off"), part, others=False)
        if p.sheet is None or p.sheet.proven:
            break
        new = [filled(circuit, truth, x) for tests, _ in p.tests for x in tests]
        new = [line for line in dict.fromkeys(new) if line not in text]
        if not new:
            break
        text += "\n".join(new) + "\n"
    return proof_of(judge(circuit, text, "off"), part, others=False), text


def complaint(circuit: Circuit, truth: Truth) -> str | None:
    """What does not work with this fault, as a readings line; None when every function holds."""
    got = solving.solved(circuit, [(), truth], Conditions(), keep=False)
    for m in circuit.musts:
        if m.a is None or m.b is None or m.min_v is None:
            continue
        for n, p in enumerate(drive_cycle(circuit)):
            volts = abs(got.volts(m.a, m.b, n))
            if names_phase(circuit, p, m.on) and volts[0] >= m.min_v > volts[1]:
                return f"battery 12.5 V\n{name_text(m.name)} in {free_text(p.name)} does not work\n"
    return None


def _sized(h: Hypothesis, rng: Random) -> Truth:
    from amptrail.jobs.evidence.predict import with_severity

    if h.severity is None:
        return h.faults
    low, high = h.severity
    return with_severity(h.faults, [low * (high / low) ** rng.random()])


def cases(most: int, rng: Random) -> Iterator[tuple[str, Circuit, Hypothesis, Truth, str]]:
    """(demo, circuit, cause, its faults, complaint) of causes that something complains of."""
    for path in sorted(DEMOS.glob("*.sheet")):
        circuit = parse(path.read_text(encoding="utf-8"))
        found = [h for h in catalogue(circuit) if h.faults and len(h.faults) == 1]
        rng.shuffle(found)
        taken = 0
        for h in found:
            truth = _sized(h, rng)
            said = complaint(circuit, truth) if taken < most else None
            if said is not None:
                taken += 1
                yield path.stem, circuit, h, truth, said


def _parts(circuit: Circuit, but: str) -> list[str]:
    return [p.name for p in circuit.parts if p.kind in BOUGHT and key(p.name) != key(but)]


def main(argv: list[str]) -> int:
    """Print the table; exit status 1 when a part that is whole was proven dead."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--most", type=int, default=5, help="causes a demo")
    ask.add_argument("--others", type=int, default=2, help="other parts asked about, a cause")
    ask.add_argument("--seed", type=int, default=1)
    o = ask.parse_args(argv)
    rng = Random(o.seed)
    begun = time.process_time()
    dead = proven = whole = wrong = likely = leads = 0
    for demo, circuit, h, truth, said in cases(o.most, rng):
        at = truth[0].at.part
        if may_condemn(circuit, truth):
            dead += 1
            got, _ = walked(circuit, truth, said, at, 4)
            proven += got.sheet is not None and got.sheet.proven
        others = _parts(circuit, at)
        for name in rng.sample(others, min(o.others, len(others))):
            try:
                got, text = walked(circuit, truth, said, name, 3)
            except ValueError:
                continue
            j = judge(circuit, text, "off")
            mine = [i for i, s in enumerate(j.suspects) if s.causes[0].faults
                    and all(key(f.at.part) == key(name) for c in s.causes for f in c.faults)]  # fmt: skip
            whole += 1
            likely += float(j.post.probability[mine].sum()) >= SURE
            leads += j.post.ranking()[0] in mine
            if got.sheet is not None and got.sheet.proven:
                wrong += 1
                print(f"proven dead, and whole: {name} on {demo} with {h.id}\n{text}", file=sys.stderr)
    print(f"parts at fault proven by the tests offered    {proven} of {dead}")
    print(f"whole parts proven dead                       {wrong} of {whole}")
    print(f"  called dead at 95 % after the same readings {likely} of {whole}")
    print(f"  leading the suspects after them             {leads} of {whole}")
    print(f"CPU {time.process_time() - begun:.0f} s")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
