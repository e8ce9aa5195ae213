"""How fast, how large, and against ngspice on the same work: run `python -m benchmarks.bench`.

Everything is timed warm (compiled and run once before), medians of several runs. The table is printed and
appended to `benchmarks/results/DATE.md`. `--quick` does 30 parts only, once, and writes nothing.
"""

from __future__ import annotations

import argparse
import datetime
import os
import platform
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numba

from amptrail.solve.threads import cores
from benchmarks.figures import Row, gather
from benchmarks.peers import memory_gb_s

SIZES = (30, 60, 500, 2000)
RESULTS = Path(__file__).parent / "results"
OTHERS_MOST_S = 1200  # given to each of the other benchmarks
NOTES = """\
one lane: a whole run() of one healthy circuit, a rest and two drive cycles, Python around it included.
settled operating point: that time over the phases lived through (relays, fuses, timers, all solves).
all faults: every single fault of the catalogue at one severity, the same run, 256 lanes a call, and with
  each call the healthy lane once more, for the others to start from. Two fuses exchanged that never feel it
  are not lived.
meter everywhere: every fault, every phase, 10 Mohm at every named point, everything settled again (proved
  not to change anything, or solved again). lamp and loaded lead: 5 W and 3 ohm at every named point.
frozen points: a wire 1 ohm worse, in the healthy state of each phase, no settling; processor time; cold;
  ngspice in one process, its start-up (printed) taken off. altered: one deck a phase, `alter` and `op`; ours
  one lane altered, going on from the point before. reloaded: a deck a point; ours all from nothing.
  batch: start-up and reload added up. as given: its default tolerances; otherwise reltol 1e-8.
sparse LU, dense batch: the same frozen points from nothing, the same laws and the same test of being done;
  only the linear system of each Newton step is solved by the library.
meter, frozen: 10 Mohm at one point after another; ngspice by `alter`, ours settles as well."""


OTHERS = (
    ("planning and belief", ("plan_bench",)),
    ("batch", ("batch_bench",)),
    ("recordings", ("recording_bench",)),
    ("answers", ("answer_bench",)),
    ("pages", ("pages_bench",)),
    ("judgement", ("calibration", "strange", "plan_proofs", "strategies", "story_table")),
    ("pairs", ("pairs --jobs 40 --first 7000 --every 8 --minutes 15",)),
)


def machine() -> str:
    """Processor, cores, memory, versions."""
    cpu = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        names = [x.split(":", 1)[1].strip() for x in info.read_text().splitlines() if "model name" in x]
        cpu = f"{names[0]}, {len(names)} threads" if names else cpu
    said = subprocess.run(["ngspice", "--version"], capture_output=True, text=True, check=False).stdout
    spice = next((w for w in said.split() if w.startswith("ngspice-")), "no ngspice")
    return (
        f"{cpu}, load {os.getloadavg()[0]:.1f}; {platform.system()}; Python {platform.python_version()}, "
        f"numba {numba.__version__} on {cores()} threads, {spice}"
    )


def shown(value: float | None) -> str:
    """Three figures, never an exponent."""
    if value is None:
        return "-"
    if abs(value) >= 1000:
        return f"{value:,.0f}"
    return f"{value:.3g}"


def page(rows: Sequence[Row], sizes: Sequence[int]) -> str:
    """The table, 88 columns."""
    head = f"{'':50}{'':10}" + "".join(f"{f'{s} parts':>12}" for s in sizes)
    lines = [head, "-" * len(head)]
    lines += [
        f"{r.what:50}{r.unit:>10}" + "".join(f"{shown(r.values.get(s)):>12}" for s in sizes) for r in rows
    ]
    return "\n".join(lines)


def other(called: str) -> str:
    """The figures another benchmark prints, in a process of its own. `called`: its name and options."""
    module, *options = called.split()
    if not (Path(__file__).parent / f"{module}.py").exists():
        return f"({module}: not here yet)"
    command = [sys.executable, "-m", f"benchmarks.{module}", *options]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=OTHERS_MOST_S)
    except subprocess.TimeoutExpired:
        return f"({module} did not end within {OTHERS_MOST_S} s)"
    return done.stdout.strip() if done.returncode == 0 else f"({module} failed: {done.stderr.strip()[-300:]})"


def main(argv: Sequence[str]) -> int:
    """Measure, print, append."""
    parser = argparse.ArgumentParser(description="benchmarks of the solver")
    parser.add_argument("--quick", action="store_true", help="30 parts, one run, nothing written")
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES, help="parts and cavities")
    parser.add_argument("--solver", action="store_true", help="the table of the solver only")
    asked = parser.parse_args(argv)
    quick, sizes = asked.quick, SIZES[:1] if asked.quick else tuple(asked.sizes)
    now = datetime.datetime.now(datetime.UTC)

    def tell(text: str) -> None:
        """Print, and keep what is whole: the next part may take long."""
        print(text + "\n", flush=True)
        if not quick:
            RESULTS.mkdir(exist_ok=True)
            with (RESULTS / f"{now:%Y-%m-%d}.md").open("a", encoding="utf-8") as f:
                f.write(f"```text\n{text}\n```\n\n")

    tell(f"{now:%Y-%m-%d %H:%M} UTC\n{machine()}")
    table = ""
    with tempfile.TemporaryDirectory() as folder:
        for done, rows in enumerate(gather(sizes, 1 if quick else 3, Path(folder)), 1):
            table = page(rows, sizes[:done])
            if done < len(sizes):
                print(table + "\n", flush=True)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    memory = f"peak memory {peak:.0f} MB; memory copied at {memory_gb_s():.1f} GB/s (read and written)"
    tell(f"{table}\n\n{memory}\n\n{NOTES}")
    for what, modules in () if quick or asked.solver else OTHERS:
        tell(f"{what}\n" + "\n".join(other(m) for m in modules))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
