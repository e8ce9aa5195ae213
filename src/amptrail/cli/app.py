"""The commands. Each is one small function: typed options in, the answer object of its use case out.

Use cases are imported inside the functions, so that `check` never waits for the solver. Where the texts
come from is the context's object: `Files`.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import typer
import typer.main

from amptrail.cli import options as o
from amptrail.cli.files import PROOF_BYTES, Files, keep_proof

if TYPE_CHECKING:
    from amptrail.jobs.evidence.history import History
    from amptrail.jobs.solved.own import Own

Json = dict[str, Any]
app = typer.Typer(
    name="amptrail",
    help="From a dead circuit and a diagram to the next test worth its minutes.",
    epilog="Begin with: amptrail demo. Add --json to any command for one object a script can read.",
    no_args_is_help=True,
    rich_markup_mode="rich",
    context_settings={"help_option_names": ["-h", "--help"]},
)


@cache
def group() -> Any:
    """The compiled command line, built once a process."""
    import amptrail.cli.case
    import amptrail.cli.papers
    import amptrail.cli.studying  # noqa: F401  these register their commands

    return typer.main.get_command(app)


def files_of(ctx: typer.Context) -> Files:
    return ctx.obj if isinstance(ctx.obj, Files) else Files()


def _sheet(ctx: typer.Context, name: str) -> str:
    """The text of a sheet file, or the sheet of a job of that name."""
    files = files_of(ctx)
    if files.exists(name) or files.given is not None:
        return files.text(name)
    from amptrail.jobs.log.cases import known_case

    job = known_case(name)
    return job.texts()[0] if job else files.text(name)


def texts_of(ctx: typer.Context, sheet: str, readings: str | None) -> tuple[str, str]:
    """Sheet and readings text: from files, or from a job of that name."""
    files = files_of(ctx)
    if readings is None and not files.exists(sheet):
        from amptrail.jobs.log.cases import case

        return case(sheet).texts()
    return files.text(sheet), files.text(readings) if readings is not None else ""


def _tuple(given: list[str] | None) -> tuple[str, ...]:
    return tuple(given or ())


def history_of(ctx: typer.Context, sheet: str, asked: bool | None) -> History:
    """What earlier jobs taught: for a person unless refused, for a script only when asked for, so that its
    answers never depend on the folder of a user."""
    from amptrail.jobs.evidence.history import NONE

    files = files_of(ctx)
    if not (files.for_people if asked is None else asked):
        return NONE
    from amptrail.jobs.log.lessons import history

    return history(None if files.exists(sheet) else sheet)


def own_of(ctx: typer.Context, sheet: str, readings: str | None, by: str | None) -> Own:
    """The instruments in the hands of who asks: for a script only those of the readings, unless `--by` says
    who, so that its answers never depend on the folder of a user."""
    from amptrail.jobs.base.joblog import known_case, whose
    from amptrail.jobs.log.tools import tools

    files = files_of(ctx)
    who = whose(by) if by or files.for_people else ""
    if readings is not None:
        text = files.text(readings)
    else:
        job = None if files.exists(sheet) or files.given is not None else known_case(sheet)
        text = job.state.readings_text if job is not None else ""
    return tools(text, who)


@app.command()
def check(
    ctx: typer.Context, sheet: o.SheetName, every: o.EveryValue = False, as_json: o.AsJson = False
) -> Json:
    """Is the sheet sound? Every problem at once, with its line and what to do; and what is assumed.

    Example: amptrail check van.sheet
    """
    from amptrail.jobs.check import check as run

    return run(_sheet(ctx, sheet), every)


@app.command()
def expect(
    ctx: typer.Context, sheet: o.SheetName, phase: o.Phases = None, at: o.Points = None,
    instruments: o.Instruments = None, fault: o.FaultTexts = None, faults: o.FaultsFile = None,
    every_fault: o.EveryFault = False, feed: o.Feed = None, cycles: o.Cycles = 1, start: o.Start = "asleep",
    nominal: o.Nominal = False, by: o.Holder = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """What every point should read, for the instrument in hand, with bands.

    Example: amptrail expect van.sheet --phase cranking --with lamp

    With a fault: amptrail expect van.sheet --fault "C1.3 resistance 2 ohm" --at M1.+
    """
    from amptrail.jobs.expect import ExpectOptions
    from amptrail.jobs.expect import expect as run

    text = files_of(ctx).text(faults) if faults is not None else None
    asked = ExpectOptions(
        _tuple(phase), _tuple(at), _tuple(instruments), _tuple(fault), text, every_fault, feed, cycles, start,
        nominal, own_of(ctx, sheet, None, by),
    )  # fmt: skip
    return run(_sheet(ctx, sheet), asked)


@app.command()
def suspects(
    ctx: typer.Context, sheet: o.SheetName, readings: o.ReadingsName = None, top: o.Top = 10,
    doubles: o.DoublesMode = "auto", seed: o.Seed = 0, history: o.UseHistory = None, by: o.Holder = None,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """What still fits the readings, how bad it is, and what each reading ruled out.

    Example: amptrail suspects van.sheet van.readings
    """
    from amptrail.jobs.judging.suspects import SuspectOptions
    from amptrail.jobs.judging.suspects import suspects as run

    known, own = history_of(ctx, sheet, history), own_of(ctx, sheet, readings, by)
    return run(*texts_of(ctx, sheet, readings), SuspectOptions(top, doubles, seed, known, own))


@app.command(name="next")
def next_(
    ctx: typer.Context, sheet: o.SheetName, readings: o.ReadingsName = None, place: o.Place = None,
    start_phase: o.StartPhase = None, opened: o.Opened = None, helper: o.Helper = "yes", have: o.Have = None,
    without: o.Without = None, cannot: o.Cannot = None, budget_ms: o.BudgetMs = None,
    doubles: o.DoublesMode = "auto", seed: o.Seed = 0, history: o.UseHistory = None, by: o.Holder = None,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The visits worth their minutes, and what each outcome would leave.

    Example: amptrail next van.sheet van.readings --at dash --without helper
    """
    from amptrail.jobs.judging.nexttest import NextOptions, next_tests

    lacking = _tuple(without)
    asked = NextOptions(
        place, start_phase, _tuple(opened), helper == "yes" and "helper" not in lacking, _tuple(have),
        tuple(x for x in lacking if x != "helper"), _tuple(cannot), budget_ms, doubles, seed,
        history_of(ctx, sheet, history), own_of(ctx, sheet, readings, by),
    )  # fmt: skip
    return next_tests(*texts_of(ctx, sheet, readings), asked)


@app.command()
def cycle(
    ctx: typer.Context, sheet: o.SheetName, fault: o.FaultTexts = None, feed: o.Feed = None,
    start: o.From = "asleep", cycles: o.CyclesLived = 1, order: o.WhatOrder = "settle",
    leave: o.Leave = None, at: o.Points = None, svg: o.SvgFile = None, by: o.Holder = None,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The drive cycle in time: what switches when, what ends awake, and why.

    Example: amptrail cycle van.sheet --order time --fault "DOOR_S stuck on"

    With a lamp left on: amptrail cycle van.sheet --leave lamp F3.out
    """
    from amptrail.jobs.cycle import CycleOptions
    from amptrail.jobs.cycle import cycle as run

    left = (leave,) if leave is not None else ()
    own = own_of(ctx, sheet, None, by)
    asked = CycleOptions(_tuple(fault), feed, start, cycles, order, left, _tuple(at), svg is not None, own)
    got = run(_sheet(ctx, sheet), asked)
    if svg is not None:
        files_of(ctx).keep(svg, got["svg"])
    return got


def _told_in(ctx: typer.Context, sheet: str) -> str | None:
    """The readings of a job: what may be broken decides what a feed has to bridge; None where nothing was
    read or the sheet is no job."""
    if files_of(ctx).exists(sheet) or files_of(ctx).given is not None:
        return None
    from amptrail.jobs.log.cases import known_case

    job = known_case(sheet)
    told = job.texts()[1] if job else ""
    return told if told.strip() else None


@app.command()
def feed(
    ctx: typer.Context, sheet: o.SheetName, feed: o.FeedTexts = None, feeds: o.FeedsFile = None,
    every_feed: o.EveryFeed = False, restore: o.Restore = None, purpose: o.Purpose = "leave",
    against: o.Against = None, fitted: o.FittedFeeds = None, readings: o.ReadingsFile = None,
    nominal: o.NominalFeed = False, rules: o.RuleSet = "all", prove: o.ProveFile = None,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """A temporary feed, judged before insulation is cut: holds, refused or undecided, and why.

    With --restore, feeds are looked for and ranked, and what is tempting but refused is shown too.

    Example: amptrail feed van.sheet --feed "from F3.out to K4.86 fuse 5 A wire 0.75 mm2 2 m"

    Example: amptrail feed van.sheet --restore PUMP --against "W10 open"
    """
    from amptrail.jobs.feeding.feeding import FeedOptions
    from amptrail.jobs.feeding.feeding import feed as run

    text = files_of(ctx).text(feeds) if feeds is not None else None
    told = files_of(ctx).text(readings) if readings is not None else _told_in(ctx, sheet)
    asked = FeedOptions(
        _tuple(feed), text, every_feed, purpose, _tuple(against), nominal, rules, _tuple(restore),
        _tuple(fitted), told, prove is not None,
    )  # fmt: skip
    got = run(_sheet(ctx, sheet), asked)
    return got if prove is None else keep_proof(files_of(ctx), prove, got)


@app.command()
def prove(ctx: typer.Context, proof: o.ProofName, sheet: o.SheetName, as_json: o.AsJson = False) -> Json:
    """Check the proof of a temporary feed, independently of what wrote it.

    Example: amptrail prove van.proof van.sheet
    """
    from amptrail.jobs.proving import prove as run

    return run(files_of(ctx).text(proof, PROOF_BYTES), _sheet(ctx, sheet))


@app.command()
def trail(
    ctx: typer.Context, sheet: o.SheetName, at: o.OnePoint, phase: o.OnePhase, fault: o.FaultTexts = None,
    feed: o.Feed = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """Where a current comes from and where it goes, source to ground.

    Example: amptrail trail van.sheet --at K4.87 --phase running
    """
    from amptrail.jobs.trail import trail as run

    return run(_sheet(ctx, sheet), at, phase, _tuple(fault), feed)


@app.command()
def draw(
    ctx: typer.Context, sheet: o.SheetName, phase: o.DrawPhase = None, instrument: o.OneInstrument = None,
    fault: o.FaultTexts = None, feed: o.Feed = None, trail: o.TrailPoint = None, plain: o.Plain = False,
    only: o.Only = False, out: o.Out = None, by: o.Holder = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The circuit as a picture (SVG): supply on top, ground at the bottom.

    Example: amptrail draw van.sheet --phase running --trail K4.87 --out van.svg
    """
    from amptrail.jobs.drawing import DrawOptions, drawing

    own = own_of(ctx, sheet, None, by)
    asked = DrawOptions(phase, instrument, _tuple(fault), feed, trail, plain, only, own)
    got = drawing(_sheet(ctx, sheet), asked)
    files = files_of(ctx)
    if out is not None:
        files.keep(out, got["svg"])
    return {**got, "out": out if files.given is None else None}


@app.command()
def size(
    amps: o.Amps, length: o.Length, drop: o.Drop = None, place: o.Surrounding = "cabin",
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """Wire and fuse for a current and a length, with the sources of every figure.

    Example: amptrail size --amps 12 --length 4 --place engine-bay
    """
    from amptrail.jobs.sizing import size as run

    return run(amps, length, drop, place)


@app.command()
def recording(
    ctx: typer.Context, files: o.RecordingFiles, channel: o.Clips = None, interval: o.Interval = None,
    time: o.TimeColumn = None, begin: o.Begin = None, end: o.End = None, sheet: o.BesideSheet = None,
    feed: o.Feed = None, svg: o.SvgFile = None, png: o.PngFile = None, job: o.ForJob = None,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """What a scope saw: key, starts, relays, drop-outs, sleep, each with its instant; figures between two.

    Example: amptrail recording drive.csv --channel "CH1=K4.87 to BAT.+" --from 2.5 --to 4

    Before and after a repair in one picture: amptrail recording was.csv now.csv --svg both.svg
    """
    from amptrail.jobs.recorded.recordings import RecordingOptions
    from amptrail.jobs.recorded.recordings import recording as run

    paths = [files_of(ctx).on_disk(f) for f in files]
    text = _sheet(ctx, sheet) if sheet is not None else None
    asked = RecordingOptions(
        _tuple(channel), interval, time, begin, end, text, feed, svg is not None or png is not None
    )
    if job is not None:
        from amptrail.jobs.recorded.recordingfiles import bring

        bring(job, paths, asked)
    got = run(paths, asked)
    if svg is not None:
        files_of(ctx).keep(svg, got["svg"])
    if png is not None:
        from amptrail.recording.png import png as drawn

        files_of(ctx).keep(png, drawn(got["svg"]))
    return got


@app.command()
def convert(ctx: typer.Context, file: o.AnyFile, to: o.To = "sheet", as_json: o.AsJson = False) -> Json:
    """Other forms in and out, checked for sameness.

    Example: amptrail convert circuit.json --to sheet
    """
    from amptrail.jobs.converting import convert as run

    return run(files_of(ctx).text(file), to, file)


@app.command()
def job(
    ctx: typer.Context, action: o.JobAction, name: o.JobName = None, text: o.JobText = None,
    entry: o.EntryId = None, complaint: o.Complaint = None, cause: o.Cause = None, purpose: o.FitFor = None,
    until: o.Until = None, asked: o.AskedBy = None, minutes: o.Minutes = None, anyway: o.Anyway = False,
    price: o.Price = None, count: o.Count = None, base: o.Base = None, by: o.By = None,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """A case kept in a log: nothing said is lost, everything can be taken back.

    Example: amptrail job new gate gate.sheet --complaint "will not open"

    Then: amptrail job add gate "K4.87 in running meter 12.4", and: amptrail next gate

    At the end: amptrail job conclude gate "X7.4 open" --cause "water", job done, job left, job close

    Next time: amptrail job search "lift pump", and when it comes back: amptrail job again gate gate-2
    """
    from amptrail.jobs.log.cases import run

    more = {
        "cause": cause,
        "purpose": purpose,
        "until": until,
        "asked": asked,
        "minutes": minutes,
        "anyway": anyway,
        "price": price,
        "count": count,
        "base": base,
    }
    files = files_of(ctx)
    return run(action, name, text or [], files.text, entry, complaint, more, by, files)


@app.command()
def practice(
    ctx: typer.Context, sheet: o.SheetName, tries: o.Tries = None, seed: o.Seed = 0,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """A hidden fault to find on a circuit; your tests against the clock and the plan.

    Example: amptrail practice van.sheet --seed 7
    """
    from amptrail.cli.practice import talk, watched
    from amptrail.jobs.practise.practice import PracticeOptions
    from amptrail.jobs.practise.practice import practice as run

    text, files = _sheet(ctx, sheet), files_of(ctx)
    said = files.text(tries) if tries else ""
    if tries is None and not as_json and watched(files):
        said = talk(text, seed)
    return run(text, PracticeOptions(seed, said))


@app.command()
def batch(requests: o.Requests = None, sealed: o.Sealed = False) -> int:
    """Many requests through one warm process: one JSON object a line, in and out.

    Example: amptrail batch < requests.jsonl

    Requests of somebody else: amptrail batch --sealed < requests.jsonl
    """
    from amptrail.cli.batch import serve

    return serve(requests, sealed)


@app.command()
def serve(
    port: o.Port = 8765, workshop: o.Workshop = False, tls: o.Tls = False,
    certificate: o.Certificate = None,
) -> int:  # fmt: skip
    """The pages, for this machine's browser; with --workshop for phones on the same network.

    Example: amptrail serve --workshop
    """
    from amptrail.web.serve import serve as run

    return run(port, workshop, tls, certificate)


@app.command()
def demo(name: o.DemoName = "sprayer") -> int:
    """A walk from complaint to findings on a shipped circuit.

    Example: amptrail demo sprayer
    """
    from amptrail.cli.demo import walk

    return walk(name)
