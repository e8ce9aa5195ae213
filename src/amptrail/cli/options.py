"""The arguments of every command, typed once and named as the contract names them (docs/json.md)."""

from __future__ import annotations

from typing import Annotated, Literal, get_args

import typer

from amptrail.cli import complete

Doubles = Literal["auto", "off", "all"]
FeedPurpose = Literal["try", "home", "leave"]
Rules = Literal["all", "oracle"]
YesNo = Literal["yes", "no"]
Action = Literal[
    "new",
    "again",
    "add",
    "sheet",
    "attach",
    "fetch",
    "search",
    "people",
    "backup",
    "restore",
    "part",
    "remove",
    "undo",
    "show",
    "list",
    "export",
    "import",
    "conclude",
    "done",
    "left",
    "note",
    "time",
    "set",
    "fit",
    "ask",
    "close",
]
PaperKind = Literal[
    "findings", "slip", "label", "notice", "quote", "proof-sheet", "part-sheet", "module-sheet", "pencil",
    "invoice",
]  # fmt: skip
Answering = Literal["customer", "shop", "mine"]
LabelPlace = Literal["splice", "fuse box", "plug"]
Order = Literal["settle", "time"]
Target = Literal["oracle", "sheet", "netlist", "transient", "json"]

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object (docs/json.md).")]
SheetName = Annotated[str, typer.Argument(metavar="SHEET", help="A sheet file, or the name of a job.")]
ReadingsName = Annotated[
    str | None,
    typer.Argument(metavar="READINGS", help="A readings file; a job brings its own.", show_default=False),
]
Phases = Annotated[
    list[str] | None,
    typer.Option("--phase", metavar="PHASE", help="A phase of the sheet; repeat for more. Without: all.",
                 autocompletion=complete.phases),
]  # fmt: skip
OnePhase = Annotated[
    str,
    typer.Option("--phase", metavar="PHASE", help="A phase of the sheet.", autocompletion=complete.phases),
]
DrawPhase = Annotated[
    str | None,
    typer.Option("--phase", metavar="PHASE", help="Write at every point what is read in this phase.",
                 autocompletion=complete.phases),
]  # fmt: skip
OneInstrument = Annotated[
    str | None,
    typer.Option("--with", metavar="INSTRUMENT", help="meter (unsaid), lamp, loaded, led; clamp for amps.",
                 autocompletion=complete.instruments),
]  # fmt: skip
TrailPoint = Annotated[
    str | None,
    typer.Option("--trail", metavar="POINT", help="Fade all but what the current through this point passes.",
                 autocompletion=complete.points),
]  # fmt: skip
Only = Annotated[bool, typer.Option("--only", help="With --trail: leave the rest out, for a narrow screen.")]
Plain = Annotated[bool, typer.Option("--plain", help="Black on white, for paper.")]
Out = Annotated[
    str | None, typer.Option("--out", metavar="FILE", help="Write here; without it, to standard output.")
]
Points = Annotated[
    list[str] | None,
    typer.Option("--at", metavar="POINT", help="A point to read; repeat for more. Without: all.",
                 autocompletion=complete.points),
]  # fmt: skip
OnePoint = Annotated[
    str,
    typer.Option("--at", metavar="POINT", help="The point, or a part a clamp goes around.",
                 autocompletion=complete.points),
]  # fmt: skip
Instruments = Annotated[
    list[str] | None,
    typer.Option("--with", metavar="INSTRUMENT", help="meter, lamp, loaded, led, clamp, ohmmeter, fuse-drop; "
                 "repeat for more.", autocompletion=complete.instruments),
]  # fmt: skip
FaultTexts = Annotated[
    list[str] | None,
    typer.Option("--fault", metavar="TEXT", help="A fault, by its name or its words; twice is one double "
                 "fault.", autocompletion=complete.faults),
]  # fmt: skip
FaultsFile = Annotated[
    str | None,
    typer.Option("--faults", metavar="FILE", help="One fault, or `A and B`, a line: one run for each."),
]
EveryFault = Annotated[
    bool, typer.Option("--every-fault", help="The healthy run, then one for every fault considered.")
]
Feed = Annotated[str | None, typer.Option("--feed", metavar="TEXT", help="A feed of the sheet, fitted.")]
FeedTexts = Annotated[
    list[str] | None,
    typer.Option("--feed", metavar="TEXT", help="A feed: its name in the sheet, or `from A to B fuse 5 A "
                 "wire 0.5 mm2 2 m`; repeat for more."),
]  # fmt: skip
FeedsFile = Annotated[
    str | None, typer.Option("--feeds", metavar="FILE", help="Feeds as a sheet has them, or one a line.")
]
EveryFeed = Annotated[bool, typer.Option("--every-feed", help="Every feed of the sheet.")]
Restore = Annotated[
    list[str] | None,
    typer.Option("--restore", metavar="PART[,PART]", help="Look for feeds that make these parts or functions "
                 "work again, as one set.", autocompletion=complete.parts),
]  # fmt: skip
FittedFeeds = Annotated[
    list[str] | None,
    typer.Option(
        "--fitted", metavar="NAME", help="A feed of the sheet that is in the vehicle already; repeat."
    ),
]
Purpose = Annotated[
    FeedPurpose, typer.Option("--for", help="try: attended minutes; home: one drive; leave: handed over.")
]
Against = Annotated[
    list[str] | None,
    typer.Option("--against", metavar="FAULT", help="The fault it is to bridge; repeat for a double. "
                 "Without: the feed's own.", autocompletion=complete.faults),
]  # fmt: skip
ReadingsFile = Annotated[
    str | None,
    typer.Option(
        "--readings", metavar="FILE", help="Readings taken: every suspect still alive is looked at."
    ),
]
NominalFeed = Annotated[bool, typer.Option("--nominal", help="Values of the sheet only: no worst case.")]
ProveFile = Annotated[
    str | None, typer.Option("--prove", metavar="FILE", help="Write the proof of the first feed that holds.")
]
ProofName = Annotated[
    str, typer.Argument(metavar="PROOF", help="A file of feed --prove.", show_default=False)
]
RuleSet = Annotated[
    Rules,
    typer.Option("--rules", help="all; or oracle: the few that a jumper file of another program knows."),
]
Cycles = Annotated[int, typer.Option("--cycles", min=1, max=1000, help="Drive cycles run; the last is told.")]
Start = Annotated[str, typer.Option("--start", metavar="STATE", help="asleep, or awake:PHASE.")]
From = Annotated[
    str,
    typer.Option("--start", "--from", metavar="STATE", help="asleep, awake:PHASE (or the phase alone), "
                 "restart-in-after-run, aborted-crank, stall, key-off-turning, battery-reconnected, "
                 "unlock-without-start."),
]  # fmt: skip
WhatOrder = Annotated[
    Order, typer.Option("--order", help="settle: all at once. time: relay, module and fuse times.")
]
Leave = Annotated[
    tuple[str, str] | None,
    typer.Option(
        "--leave", metavar="INSTRUMENT POINT", help="An instrument left connected.", show_default=False
    ),
]
SvgFile = Annotated[str | None, typer.Option("--svg", metavar="FILE", help="Write the drawing there as SVG.")]
CyclesLived = Annotated[int, typer.Option("--cycles", min=1, max=100, help="Drive cycles lived through.")]
Nominal = Annotated[bool, typer.Option("--nominal", help="No tolerance bands: quicker.")]
Top = Annotated[int, typer.Option("--top", min=1, help="How many to list.")]
DoublesMode = Annotated[
    Doubles, typer.Option("--doubles", help="Two faults at once: when singles do not explain, never, always.")
]
Seed = Annotated[
    int, typer.Option("--seed", min=0, help="Where chance is needed: the same number gives the same answer.")
]
Place = Annotated[
    str | None,
    typer.Option("--at", "--from", metavar="PLACE", help="Where you are now.",
                 autocompletion=complete.places),
]  # fmt: skip
StartPhase = Annotated[
    str | None,
    typer.Option("--start-phase", metavar="PHASE", help="The phase the vehicle is in now.",
                 autocompletion=complete.phases),
]  # fmt: skip
Opened = Annotated[
    list[str] | None,
    typer.Option("--open", metavar="PLACE", help="What is laid open already; repeat for more.",
                 autocompletion=complete.places),
]  # fmt: skip
Helper = Annotated[YesNo, typer.Option("--helper", help="Whether somebody can hold the key.")]
Have = Annotated[
    list[str] | None,
    typer.Option("--have", metavar="INSTRUMENT", help="What you have today; repeat for more.",
                 autocompletion=complete.instruments),
]  # fmt: skip
Without = Annotated[
    list[str] | None,
    typer.Option("--without", metavar="INSTRUMENT", help="What you lack today, also `helper`; repeat."),
]
Cannot = Annotated[
    list[str] | None,
    typer.Option("--cannot", metavar="POINT", help="A point you cannot reach; repeat for more.",
                 autocompletion=complete.points),
]  # fmt: skip
BudgetMs = Annotated[
    int | None, typer.Option("--budget-ms", min=1, help="Milliseconds to spend; the best found is told.")
]
Amps = Annotated[float, typer.Option("--amps", metavar="A", help="The steady current.")]
Length = Annotated[float, typer.Option("--length", metavar="M", help="Metres of wire, one way.")]
Drop = Annotated[float | None, typer.Option("--drop", metavar="V", help="Volts it may lose there and back.")]
Surrounding = Annotated[
    str, typer.Option("--place", help="cabin, engine-bay, outside, underbody or exhaust.")
]
Complaint = Annotated[str | None, typer.Option("--complaint", metavar="TEXT", help="What the customer said.")]
Done = Annotated[str | None, typer.Option("--done", metavar="TEXT", help="What was repaired.")]
AnyFile = Annotated[str, typer.Argument(metavar="FILE", help="A sheet, or a circuit as JSON.")]
To = Annotated[
    Target,
    typer.Option("--to", show_choices=False, help=f"The form wanted: {', '.join(get_args(Target))}."),
]
Requests = Annotated[
    str | None, typer.Option("--requests", metavar="FILE", help="Read here in place of standard input.")
]
Sealed = Annotated[bool, typer.Option("--sealed", help="Requests read nothing but what they bring.")]
JobAction = Annotated[
    Action,
    typer.Argument(
        metavar="ACTION", show_default=False, show_choices=False,
        help="new, sheet, add, undo, show, list; conclude, done, left, note, time, part, set; ask, fit, "
        "remove; attach, fetch, export, import; close, again; search, people, backup, restore.",
    ),
]  # fmt: skip
JobName = Annotated[str | None, typer.Argument(metavar="JOB", help="The job.", show_default=False)]
JobText = Annotated[
    list[str] | None,
    typer.Argument(metavar="TEXT", help="new, sheet: a sheet file. again: the new job's name. add: a "
                   "readings line, or @FILE. undo: an entry's id (without: the last). attach: a file and "
                   "words. fetch: an id, a file. export, import: a file. conclude: the proven fault. done, "
                   "left, note, part: words. time: what and minutes. set: NAME=VALUE. ask, fit: a feed. "
                   "search: words (in place of a job). people: a role. backup, restore: a file (in place of "
                   "a job).",
                   show_default=False),
]  # fmt: skip
EntryId = Annotated[
    str | None,
    typer.Option("--id", metavar="ID", help="Your own id of the entry: sent twice, it is added once."),
]
DemoName = Annotated[str, typer.Argument(metavar="NAME", help="Which shipped circuit to walk.")]

RecordingFiles = Annotated[
    list[str], typer.Argument(metavar="FILE", help="CSV of any scope, WAV, VCD, MDF4, Parquet or NPY.")
]
Clips = Annotated[
    list[str] | None,
    typer.Option("--channel", metavar="TEXT", help='Where a channel\'s clips were: "CH1=K4.87 to BAT.+ x 10 '
                 'offset 0.1". A channel is its name or number; repeat for more.'),
]  # fmt: skip
Interval = Annotated[float | None, typer.Option("--interval", min=1e-12, help="Seconds between two samples.")]
TimeColumn = Annotated[str | None, typer.Option("--time", metavar="COLUMN", help="The column of instants.")]
Begin = Annotated[float | None, typer.Option("--from", metavar="S", help="Measure from this instant.")]
End = Annotated[float | None, typer.Option("--to", metavar="S", help="Measure to this instant.")]

Who = Annotated[Answering, typer.Option("--who", help="Whose answers they are.")]
Unknown = Annotated[
    list[str] | None,
    typer.Option(
        "--unknown", metavar="QUESTION", help="Nobody knows the answer to this one; may be repeated."
    ),
]
EveryValue = Annotated[bool, typer.Option("--all", help="Show every value that nobody stated.")]
BatteryAh = Annotated[float | None, typer.Option("--ah", metavar="AH", help="Charge of the battery.")]
RestVolts = Annotated[float | None, typer.Option("--volts", metavar="V", help="Its volts at rest.")]
Celsius = Annotated[float | None, typer.Option("--celsius", metavar="C", help="How cold it stands.")]
UseHistory = Annotated[
    bool | None,
    typer.Option("--history/--no-history", show_default=False,
                 help="Let your own proven jobs move the priors; with --json only when asked for."),
]  # fmt: skip
Condemned = Annotated[
    str | None,
    typer.Option("--part", metavar="PART", help="The part or module in question. Without: what leads.",
                 autocompletion=complete.parts),
]  # fmt: skip
CaseName = Annotated[str, typer.Argument(metavar="JOB", help="The job.", show_default=False)]
KindOfPaper = Annotated[
    PaperKind,
    typer.Argument(metavar="KIND", show_choices=False, show_default=False,
                   help=f"Which paper: {', '.join(get_args(PaperKind))}."),
]  # fmt: skip
PdfFile = Annotated[str | None, typer.Option("--pdf", metavar="FILE", help="Write it as PDF.")]
HtmlFile = Annotated[str | None, typer.Option("--html", metavar="FILE", help="Write it as one HTML file.")]
SheetOfPaper = Annotated[
    str,
    typer.Option("--paper", metavar="SIZE", help="a4, letter; a label: 62x29, 62x100, 57x32, 76x25, 102x51."),
]
Language = Annotated[
    str | None,
    typer.Option("--language", metavar="LANGUAGE", help="Of the paper: en, de (or in the job)."),
]
FittedFeed = Annotated[str | None, typer.Option("--feed", metavar="NAME", help="Which fitted feed.")]
WhereLabel = Annotated[LabelPlace, typer.Option("--on", help="Where the label goes.")]
Cause = Annotated[
    str | None,
    typer.Option("--cause", metavar="TEXT", help="conclude: what caused it. ask: why it is refused."),
]
Until = Annotated[str | None, typer.Option("--until", metavar="TEXT", help="ask, fit: how long it may stay.")]
AskedBy = Annotated[str | None, typer.Option("--asked", metavar="WHO", help="ask, fit: who asked for it.")]
FitFor = Annotated[str | None, typer.Option("--for", metavar="PURPOSE", help="fit: try, home or leave.")]
Minutes = Annotated[float | None, typer.Option("--minutes", min=0, help="done: minutes it took.")]
Price = Annotated[float | None, typer.Option("--price", min=0, help="part: the price of one.")]
Count = Annotated[float | None, typer.Option("--count", min=0, help="part: how many.")]
Base = Annotated[
    str | None,
    typer.Option(
        "--base", metavar="ID", help="sheet: the version yours began from; refused when it changed."
    ),
]
By = Annotated[
    str | None, typer.Option("--by", metavar="NAME", help="Who enters it (or set AMPTRAIL_BY once).")
]
Holder = Annotated[
    str | None,
    typer.Option("--by", metavar="NAME", help="Whose own instruments are in hand (or AMPTRAIL_BY)."),
]
Anyway = Annotated[
    bool, typer.Option("--anyway", help="fit: keep a feed that does not hold; every paper will say so.")
]
Port = Annotated[int, typer.Option("--port", min=1, max=65535, help="Where the pages listen.")]
Workshop = Annotated[
    bool, typer.Option("--workshop", help="Let phones on this network pair: prints a code and its square.")
]
Tls = Annotated[
    bool,
    typer.Option("--tls", help="Serve over https with a certificate of this laptop's own authority."),
]
Certificate = Annotated[
    tuple[str, str] | None,
    typer.Option("--certificate", metavar="CERT KEY", help="Serve over https with these files."),
]
PngFile = Annotated[str | None, typer.Option("--png", metavar="FILE", help="Write the picture as PNG.")]
ForJob = Annotated[
    str | None,
    typer.Option("--job", metavar="JOB", help="Keep it with this job: its picture goes into the findings."),
]
BesideSheet = Annotated[
    str | None, typer.Option("--sheet", metavar="SHEET", help="Lay the recording beside this sheet or job.")
]
SheetNames = Annotated[
    list[str], typer.Argument(metavar="SHEETS", help="Sheet files, or folders that hold *.sheet.")
]
StudyFolder = Annotated[
    str | None,
    typer.Option(
        "--out", metavar="FOLDER", help="Keep the Parquet tables here, and go on from what is there."
    ),
]
Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        help="A running dask.distributed scheduler; without it, all cores here.",
    ),
]
Workers = Annotated[
    int | None,
    typer.Option("--workers", min=0, help="Processes here; 0 or 1: this one alone.", show_default=False),
]
Tries = Annotated[
    str | None,
    typer.Argument(
        metavar="TRIES", help="A file of what was tried, one line each; without it you are asked."
    ),
]
