"""The night drain with the words for a person at the vehicle."""

from __future__ import annotations

from typing import Any

from amptrail.circuit.phases import drive_cycle
from amptrail.jobs.base.context import load
from amptrail.jobs.judging.asking import phase_words
from amptrail.jobs.judging.cautions import cautions_for
from amptrail.jobs.judging.worded import worded
from amptrail.jobs.night.drain import DrainOptions, drain
from amptrail.jobs.night.drainbox import asleep
from amptrail.jobs.night.drainwait import across
from amptrail.jobs.solved.access import start_place
from amptrail.sheet.words import free_text, name_text

Json = dict[str, Any]


def night(sheet_text: str, readings_text: str, options: DrainOptions) -> Json:
    """`drain`, each test as it is asked, and for every fuse the line its millivolts are written in, and the
    cautions at its place."""
    got = drain(sheet_text, readings_text, options)
    circuit = load(sheet_text).circuit
    phase = drive_cycle(circuit)[asleep(circuit)].name
    tests = []
    for t in got["tests"]:
        way = "fuse-drop" if t["what"] == "measure" and t["fuse"] else "clamp"
        told = worded(circuit, {**t, "instrument": way, "phase": phase, "point": t["fuse"]}, [])
        if t["restarts"]:  # put back, it would boot and the wait begin again
            told["ask"]["after"] = ()
        tests.append(told)
    fuses = []
    for r in got["fuses"]:
        test = across(circuit, r["fuse"], r["place"] or start_place(circuit))
        fill = f"{name_text(r['fuse'])} in {free_text(phase)} fuse-drop {{value}} mV"
        fuses.append({**r, "fill": fill, "cautions": list(cautions_for(circuit, test, ()))})
    return {**got, "tests": tests, "fuses": fuses, "state": phase_words(circuit, phase), "phase": phase}
