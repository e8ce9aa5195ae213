"""The commands of a case beside suspects and the next test: intake, proofs, night drain, history."""

from __future__ import annotations

from typing import Any

import typer

from amptrail.cli import options as o
from amptrail.cli.app import app, history_of, own_of, texts_of

Json = dict[str, Any]


@app.command()
def history(as_json: o.AsJson = False) -> Json:
    """What your closed jobs with a proven cause have taught, and by how much it moves the priors.

    Example: amptrail history

    Take a job out: amptrail job set gate history=no
    """
    from amptrail.jobs.log.lessons import show

    return show()


@app.command()
def intake(
    ctx: typer.Context, sheet: o.SheetName, readings: o.ReadingsName = None, who: o.Who = "customer",
    unknown: o.Unknown = None, top: o.Top = 10, history: o.UseHistory = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """What to ask on the phone, each answer a line of the readings; the question that tells most first.

    Example: amptrail intake van.sheet

    Example: amptrail intake van.sheet van.readings --who shop

    Nobody knows: amptrail intake van.sheet --unknown "Does LIFT click while it cranks?"
    """
    from amptrail.jobs.judging.intake import IntakeOptions
    from amptrail.jobs.judging.intake import intake as run

    options = IntakeOptions(who, top, history_of(ctx, sheet, history), tuple(unknown or ()))
    return run(*texts_of(ctx, sheet, readings), options)


@app.command()
def condemn(
    ctx: typer.Context, sheet: o.SheetName, readings: o.ReadingsName = None, part: o.Condemned = None,
    by: o.Holder = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """May this part be called dead? What is shown by which reading, and what is missing.

    Example: amptrail condemn van.sheet van.readings --part PUMP
    """
    from amptrail.jobs.judging.proofsheet import condemn as run

    return run(*texts_of(ctx, sheet, readings), part, own_of(ctx, sheet, readings, by))


@app.command()
def drain(
    ctx: typer.Context, sheet: o.SheetName, readings: o.ReadingsName = None, ah: o.BatteryAh = None,
    volts: o.RestVolts = None, celsius: o.Celsius = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """Flat by morning: the fuse box at rest on one page, who keeps whom awake, what to test in which order.

    Example: amptrail drain van.sheet van.readings --ah 74 --celsius 5
    """
    from amptrail.jobs.night.drain import DrainOptions
    from amptrail.jobs.night.drain import drain as run

    return run(*texts_of(ctx, sheet, readings), DrainOptions(ah, volts, celsius))
