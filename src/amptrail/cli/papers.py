"""The commands that make paper of a job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from amptrail.cli import options as o
from amptrail.cli.app import app, files_of, texts_of

if TYPE_CHECKING:
    from amptrail.jobs.log.cases import Case

Json = dict[str, Any]


@app.command()
def findings(
    ctx: typer.Context, sheet: o.SheetName, readings: o.ReadingsName = None, complaint: o.Complaint = None,
    done: o.Done = None, pdf: o.PdfFile = None, html: o.HtmlFile = None, size: o.SheetOfPaper = "a4",
    language: o.Language = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The page someone else can trust: found, how sure, proof readings, done.

    Example: amptrail findings van.sheet van.readings --done "new pin in C1.3"
    """
    from amptrail.jobs.log.cases import case, of_texts

    if readings is None and not files_of(ctx).exists(sheet):
        found = case(sheet)
    else:
        found = of_texts(Path(sheet).stem, *texts_of(ctx, sheet, readings), complaint, done)
    return _paper(ctx, "findings", found, {"sheet": size, "language": language}, pdf, html)


def _paper(
    ctx: typer.Context, kind: o.PaperKind, found: Case, asked: dict[str, Any], pdf: str | None,
    html: str | None, command: str | None = None,
) -> Json:  # fmt: skip
    """A paper of a job; written as PDF or HTML where a file is named."""
    from amptrail.jobs.papers.papers import PaperOptions, make, paper

    options = PaperOptions(kind, **asked)
    made = make(found, options)
    if pdf is not None:
        from amptrail.paper import pdf as set_pdf

        files_of(ctx).keep(pdf, set_pdf(made))
    if html is not None:
        from amptrail.paper import html as set_html

        files_of(ctx).keep(html, set_html(made))
    return paper(found, made, command or kind)


def _job_paper(ctx: typer.Context, kind: o.PaperKind, job: str, *more: Any) -> Json:
    from amptrail.jobs.log.cases import case

    return _paper(ctx, kind, case(job), *more)


@app.command()
def slip(
    ctx: typer.Context, job: o.CaseName, pdf: o.PdfFile = None, html: o.HtmlFile = None,
    sheet: o.SheetOfPaper = "a4", language: o.Language = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The talk slip: proper repair, feed that holds, or left standing; each with minutes and price.

    Example: amptrail slip gate --pdf slip.pdf
    """
    return _job_paper(ctx, "slip", job, {"sheet": sheet, "language": language}, pdf, html)


@app.command()
def label(
    ctx: typer.Context, job: o.CaseName, pdf: o.PdfFile = None, html: o.HtmlFile = None,
    sheet: o.SheetOfPaper = "62x29", feed: o.FittedFeed = None, where: o.WhereLabel = "splice",
    language: o.Language = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """A label for the splice, the fuse box or the dead plug of a fitted feed.

    Example: amptrail label gate --on "fuse box" --paper 62x29 --pdf label.pdf
    """
    asked = {"sheet": sheet, "feed": feed, "where": where, "language": language}
    return _job_paper(ctx, "label", job, asked, pdf, html)


@app.command()
def notice(
    ctx: typer.Context, job: o.CaseName, pdf: o.PdfFile = None, html: o.HtmlFile = None,
    sheet: o.SheetOfPaper = "a4", language: o.Language = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The notice to the owner of a vehicle that leaves with a temporary feed.

    Example: amptrail notice gate --pdf notice.pdf
    """
    return _job_paper(ctx, "notice", job, {"sheet": sheet, "language": language}, pdf, html)


@app.command()
def quote(
    ctx: typer.Context, job: o.CaseName, pdf: o.PdfFile = None, html: o.HtmlFile = None,
    sheet: o.SheetOfPaper = "a4", language: o.Language = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The quote: minutes to a proven cause, what eight jobs of ten stay within, and where each slice stops.

    Example: amptrail quote gate
    """
    return _job_paper(ctx, "quote", job, {"sheet": sheet, "language": language}, pdf, html)


@app.command()
def invoice(
    ctx: typer.Context, job: o.CaseName, pdf: o.PdfFile = None, html: o.HtmlFile = None,
    sheet: o.SheetOfPaper = "a4", language: o.Language = None, as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """The invoice: minutes by what they went into, parts, tax, what is to pay.

    Example: amptrail invoice gate --pdf invoice.pdf
    """
    return _job_paper(ctx, "invoice", job, {"sheet": sheet, "language": language}, pdf, html)


@app.command()
def paper(
    ctx: typer.Context, kind: o.KindOfPaper, job: o.CaseName, pdf: o.PdfFile = None, html: o.HtmlFile = None,
    sheet: o.SheetOfPaper = "a4", part: o.Condemned = None, language: o.Language = None,
    as_json: o.AsJson = False,
) -> Json:  # fmt: skip
    """Any paper of a job: findings, proof-sheet, part-sheet, pencil and the others.

    Example: amptrail paper proof-sheet gate --pdf proof.pdf

    Before a part is ordered: amptrail paper part-sheet gate --part PUMP
    """
    asked = {"sheet": sheet, "part": part, "language": language}
    return _job_paper(ctx, kind, job, asked, pdf, html, "paper")
