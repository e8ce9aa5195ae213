"""Hidden faults found by a browser that knows only what a person sees: the visible text and the complaint.

    python -m benchmarks.hidden_faults [--jobs N] [--circuits NAME ..] [--show]

Headless Chromium as a phone of 360 px. It starts the job on the page, types the complaint, then does what the
first visit asks: the words of the question, of the other lead and of what to do first become a reading, the
vehicle with the hidden fault answers it (jobs.practicevehicle), and the answer is tapped in figure by
figure. Where the page says stop, the repair it names is made, or found at one of the others it names, the
function tried, and the page told. It ends when the page says proven. Beside it the plan itself is played
without a page: every answer and every repair at the fewest taps. Good: proven, the repair proven is the
hidden fault's, within 1.3 times the taps.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Error, sync_playwright

from amptrail.circuit.model import Circuit, Fault, key
from amptrail.jobs.judging.nexttest import NextOptions
from amptrail.jobs.judging.visiting import visiting
from amptrail.jobs.practise.practicevehicle import Vehicle
from amptrail.sheet import fault_text, parse
from amptrail.web.views import MOST_ALIKE
from benchmarks.whole_jobs import Job, circuits, jobs

DEMOS = ("blower", "camper", "sensors", "sprayer", "starter")
JOBS, MOST_ANSWERS, WITHIN = 6, 30, 1.3
DRAWN = 8  # for each one wanted: the likely ones are drawn again and again
WARM_MS, COLD_MS = 60_000, 600_000
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
         "--disable-background-networking", "--disable-component-update")  # fmt: skip
ASKS = (
    (r"Meter on (.+)", "meter"), (r"Test lamp on (.+)", "lamp"), (r"Loaded lead on (.+)", "loaded"),
    (r"Clamp round the lead of (.+)", "clamp"), (r"Millivolts across (.+)", "fuse-drop"),
    (r"Ohmmeter on (.+)", "ohmmeter"),
    (r"Does (?:.+ \()?([^()]+)\)? work\?", "works"), (r"How bright is (.+)\?", "is"),
    (r"Hand on (.+): does it click\?", "clicks"), (r"Look at (.+)", "looks"),
)  # fmt: skip
FIRST = {"part plug": "unplugged", "pull fuse": "pulled", "take out relay": "out", "switch on": "on",
         "put a good one in for": "replaced", "switch off": "off"}  # fmt: skip
LEAD = re.compile(r"(?:black lead|its clip|its other end|other lead) on (.+)$")
TEST = "#visit-0 details[open]"  # the test in front of the person
IT_WAS = "it was "
LABEL = {"sounds silent": "silent"}  # what the button of an answer says


# ---- what the words of a page ask ----------------------------------------------------------------------
@dataclass
class Asked:
    """One test as the page words it."""

    question: str
    point: str
    way: str
    phase: str
    first: list[str] = field(default_factory=list)
    other: str = ""
    options: list[str] = field(default_factory=list)

    @property
    def line(self) -> str:
        """The reading that a person would write in the readings file."""
        to = f" to {self.other}" if self.other and self.other != "battery minus" else ""
        body = {
            "works": f"{self.point} in {self.phase} {{value}}",
            "clicks": f"{self.point} in {self.phase} {{value}}",
            "is": f"{self.point} in {self.phase} is {{value}}",
            "looks": f"{self.point} in off looks {{value}}",
        }.get(self.way, f"{self.point}{to} in {self.phase} {self.way} {{value}}")
        if not self.first:
            return body
        return f"with {', '.join(self.first)}\n{body}\nwithout conditions"


def _condition(order: str) -> str:
    if order.startswith("bridge "):
        return "feed " + order.removeprefix("bridge ")
    for words, verb in FIRST.items():
        if order.startswith(words + " "):
            return f"{order.removeprefix(words + ' ')} {verb}"
    raise ValueError(f"nobody understands {order!r}")


def asked(text: str, options: list[str]) -> Asked | None:
    """The first test of the first visit, from the visible text of the page and what its buttons say."""
    lines = [x.strip() for x in text.splitlines() if x.strip()]
    begin = next((i for i, x in enumerate(lines) if x.startswith("Go to ")), None)
    if begin is None:
        return None
    found: Asked | None = None
    phase = ""
    for x in lines[begin + 1 :]:
        if not phase and ": " in x:
            phase = x.partition(": ")[0]
            continue
        hit = next(((m[1], way) for pattern, way in ASKS if (m := re.fullmatch(pattern, x))), None)
        if hit and found is None:
            found = Asked(x, hit[0], hit[1], phase, options=options)
        elif found is None:
            continue
        elif hit or x.startswith("Go to "):
            break
        elif x.startswith("First "):
            found.first.append(_condition(x.removeprefix("First ")))
        elif m := LEAD.search(x):
            found.other = m[1]
        elif x == "not sure":
            break
    return found


def keys_of(value: str) -> list[str]:
    """The keys to tap for an answer: figures and unit, or one word."""
    number, _, unit = value.partition(" ")
    if not re.fullmatch(r"-?\d+(\.\d+)?", number):
        return [LABEL.get(value, value)]
    return [*(["±"] if number.startswith("-") else []), *number.lstrip("-"), {"ohm": "Ω"}.get(unit, unit)]


# ---- the vehicle -----------------------------------------------------------------------------------------
@dataclass
class Bay:
    """The vehicle in front of the person: answers what is asked, is repaired where somebody repairs."""

    circuit: Circuit
    hidden: tuple[Fault, ...]
    notes: str = ""

    def answer(self, a: Asked) -> str:
        """What is read."""
        numeric = a.way not in ("works", "clicks", "is", "looks", "lamp")
        test = {"line": a.line, "instrument": None if a.way in ("works", "clicks", "is", "looks") else a.way,
                "outcomes": [{"words": w, "low": 0.0 if numeric else None} for w in a.options]}  # fmt: skip
        vehicle = Vehicle(self.circuit, self.hidden)
        filled = vehicle.answer(test, self.notes)
        self.notes += filled + "\n"
        before, _, after = next(x for x in a.line.split("\n") if "{value}" in x).partition("{value}")
        row = next(x for x in filled.split("\n") if x.startswith(before))
        return row.removeprefix(before).removesuffix(after)

    def repaired(self, words: str) -> bool:
        """Renew what the words name; does everything work again?"""
        parts = {key(x.strip().split(" ")[0].partition(".")[0]) for x in words.split(" and ")}
        left = tuple(f for f in self.hidden if key(f.at.part or f.at.name) not in parts)
        return not (left and Vehicle(self.circuit, left).complaint())


# ---- the plan without a page -----------------------------------------------------------------------------
def plan_taps(job: Job) -> tuple[int, bool]:
    """Taps of the plan itself, and whether it proves the fault."""
    circuit = parse(job.sheet)
    bay = Bay(circuit, job.hidden, job.complaint)
    taps = 0
    for _ in range(MOST_ANSWERS):
        got = visiting(job.sheet, bay.notes, NextOptions())
        plan = got["plan"]
        first = got["weighed"]["suspects"][0]
        if plan["stop"]["is"]:
            taps += 1
            if any(bay.repaired(x) for x in (first["text"], *first["equivalent"][:MOST_ALIKE])):
                return taps, True
            if not got["still_the_same"]:
                return taps, False
            bay.notes += got["still_the_same"] + "\n"
            continue
        if not plan["visits"]:
            return taps, False
        test = plan["visits"][0]["tests"][0]
        filled = Vehicle(circuit, job.hidden).answer(test, bay.notes)
        bay.notes += filled + "\n"
        before, _, after = next(x for x in test["line"].split("\n") if "{value}" in x).partition("{value}")
        row = next(x for x in filled.split("\n") if x.startswith(before))
        taps += len(keys_of(row.removeprefix(before).removesuffix(after)))
    return taps, False


# ---- the browser -----------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Found:
    """How one job went."""

    job: Job
    proven: str
    right: bool
    taps: int
    answers: int
    plan: int
    seconds: float
    said: str

    @property
    def good(self) -> bool:
        return self.right and self.taps <= WITHIN * self.plan


class Phone:
    """A page of 360 px and a thumb that counts its taps."""

    def __init__(self, page: Any) -> None:
        self.page, self.taps = page, 0

    def text(self) -> str:
        """What a person can read."""
        return str(self.page.inner_text("main"))

    def buttons(self, within: str) -> list[str]:
        """What the visible buttons say, the first line of each."""
        return [
            x.strip().split("\n")[0] for x in self.page.locator(f"{within} button:visible").all_inner_texts()
        ]

    def tap(self, label: str, within: str = "main") -> None:
        """One tap on the first visible button that says so (on its first line)."""
        found = self.buttons(within)
        if label not in found:
            raise ValueError(f"there is no button {label!r} among {found}")
        self.page.locator(f"{within} button:visible").nth(found.index(label)).tap()
        self.taps += 1

    def changed(self, before: str) -> None:
        """Wait until the page has answered: other text, and nothing said to be under way."""
        self.page.wait_for_function(
            "b => document.querySelector('main').innerText !== b"
            " && document.querySelector('#link-state').hidden && document.querySelector('#waiting').hidden",
            arg=before,
        )


def begin(page: Any, address: str, job: Job, name: str, complaint: str) -> Phone:
    """Type the job in, and what the owner says."""
    page.goto(f"{address}/new?door=part")
    page.fill("#name", name)
    page.fill("#complaint", complaint)
    page.fill("#sheet", job.sheet)
    page.click("text=Begin")
    page.wait_for_selector("live-job:defined")  # its script has come: from here on nothing is a plain form
    phone = Phone(page)
    before = phone.text()
    page.fill("#line", job.complaint.strip())
    page.click(".own button")
    phone.changed(before)
    return phone


def find(page: Any, address: str, job: Job, name: str) -> tuple[str, Phone, int]:
    """Follow the page until it says proven: the words proven, the phone, the answers given."""
    circuit = parse(job.sheet)
    bay = Bay(circuit, job.hidden, job.complaint)
    phone = begin(page, address, job, name, job.complaint.strip())
    for n in range(MOST_ANSWERS):
        text = phone.text()
        stop = re.search(r"^Stop testing: (.+)$", text, re.MULTILINE)
        if stop:
            there = [x for x in phone.buttons("main") if x.startswith(IT_WAS)]
            phone.tap(after(bay, stop[1], there))
            phone.changed(text)
            proven = re.search(r"^Proven: (.+)$", phone.text(), re.MULTILINE)
            if proven:
                return proven[1], phone, n + 1
            continue
        a = asked(text, phone.buttons(TEST))
        if a is None:
            return "", phone, n
        *keys, last = keys_of(bay.answer(a))
        for k in keys:
            phone.tap(k, TEST)
        text = phone.text()
        phone.tap(last, TEST)
        phone.changed(text)
    return "", phone, MOST_ANSWERS


def after(bay: Bay, named: str, others: Sequence[str]) -> str:
    """The button to tap once what the page names, and then its others, were looked at and mended."""
    if bay.repaired(named):
        return "repaired: it works again"
    found = next((x for x in others if bay.repaired(x.removeprefix(IT_WAS))), None)
    return found or "repaired: still the same"


@contextmanager
def served() -> Iterator[str]:
    """The pages on an empty log of jobs."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    with tempfile.TemporaryDirectory() as home:
        process = subprocess.Popen(
            [sys.executable, "-c", "from amptrail.cli.main import run; run()", "serve", "--port", str(port)],
            env={**os.environ, "AMPTRAIL_HOME": home}, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            for _ in range(300):
                with socket.socket() as s:
                    if s.connect_ex(("127.0.0.1", port)) == 0:
                        break
                time.sleep(0.1)
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()
            process.wait(20)


@contextmanager
def phone_page() -> Iterator[Any]:
    """A browser page as a phone of 360 px."""
    with sync_playwright() as p:
        browser = p.chromium.launch(
            executable_path=shutil.which("chromium"), chromium_sandbox=False, args=list(FLAGS)
        )
        context = browser.new_context(
            viewport={"width": 360, "height": 740}, is_mobile=True, has_touch=True, device_scale_factor=2
        )
        page = context.new_page()
        page.set_default_timeout(WARM_MS)
        try:
            yield page
        finally:
            browser.close()


def one(page: Any, address: str, job: Job, name: str) -> Found:
    """One job on the page and, for its taps, by the plan alone."""
    began = time.monotonic()
    circuit = parse(job.sheet)
    try:
        proven, phone, answers = find(page, address, job, name)
        taps, said = phone.taps, phone.text()
    except (ValueError, Error) as e:
        proven, taps, answers, said = "", 0, 0, str(e)
    right = bool(proven) and Bay(circuit, job.hidden).repaired(proven)
    seconds = time.monotonic() - began
    plan, _ = plan_taps(job)
    return Found(job, proven, right, taps, answers, plan, seconds, said)


def different(drawn: Iterator[Job], wanted: int) -> Iterator[Job]:
    """The first of them that hide something else than those before."""
    met: set[str] = set()
    for job in drawn:
        hidden = "; ".join(sorted(f"{f.at.part}.{f.at.name} {f.mode}" for f in job.hidden))
        if hidden not in met and len(met) < wanted:
            met.add(hidden)
            yield job


def warmed(page: Any, address: str, name: str, sheet: str) -> None:
    """One job that counts for nothing: on a new machine the solver is compiled in it, minutes long."""
    page.set_default_timeout(COLD_MS)
    begin(page, address, next(iter(jobs(name, sheet, 1, 0.0, 0))), "warm", "warm")
    page.set_default_timeout(WARM_MS)


def row(f: Found) -> str:
    """One line of the table."""
    hidden = fault_text(parse(f.job.sheet), f.job.hidden)
    mark = "good" if f.good else "right" if f.right else "NO"
    return (
        f"{f.job.name:9} {hidden[:34]:34} {f.proven[:34] or '-':34} {f.answers:3} {f.taps:4} {f.plan:4} "
        f"{f.taps / max(f.plan, 1):5.2f} {mark}"
    )


def main(argv: Sequence[str]) -> int:
    """Find, print, and say how many were good."""
    parser = argparse.ArgumentParser(description="hidden faults found by a browser")
    parser.add_argument("--jobs", type=int, default=JOBS, help="faults a circuit")
    parser.add_argument("--circuits", nargs="*", default=DEMOS)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--show", action="store_true", help="the last page of those that went wrong")
    o = parser.parse_args(argv)
    print(f"{'':9} {'hidden':34} {'proven':34} {'ans':>3} {'taps':>4} {'plan':>4} ratio")
    found: list[Found] = []
    with served() as address, phone_page() as page:
        sheets = circuits(o.circuits)
        warmed(page, address, *next(iter(sheets.items())))
        for name, sheet in sheets.items():
            drawn = jobs(name, sheet, o.jobs * DRAWN, 0.0, o.seed)
            for n, job in enumerate(different(drawn, o.jobs)):
                f = one(page, address, job, f"{name}-{n}")
                found.append(f)
                print(row(f), flush=True)
                if o.show and not f.good:
                    print("\n".join("     " + x for x in f.said.splitlines()[:60] if x.strip()), flush=True)
    good = sum(f.good for f in found)
    print(f"{good} of {len(found)} at the proven fault within {WITHIN} times the taps of the plan")
    return 0 if good >= round(28 / 30 * len(found)) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
