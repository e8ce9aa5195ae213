"""Names a shell can complete: they come from the sheet already typed on the line."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from amptrail.cli.files import Files
from amptrail.errors import AmptrailError

if TYPE_CHECKING:
    from amptrail.circuit.model import Circuit


def _circuit(ctx: typer.Context) -> Circuit | None:
    """The circuit of the sheet on the line; None while it cannot be read (completion never complains)."""
    from amptrail.jobs.base.context import load

    for name in (ctx.params.get("sheet"), *ctx.args):  # a line still being typed leaves its words in args
        try:
            return load(Files().text(str(name))).circuit
        except (AmptrailError, OSError, ValueError):
            continue
    return None


def _like(names: list[str], begun: str) -> list[str]:
    return sorted({n for n in names if n.lower().startswith(begun.lower())})


def phases(ctx: typer.Context, incomplete: str) -> list[str]:
    """Phases of the sheet."""
    from amptrail.circuit.phases import drive_cycle

    circuit = _circuit(ctx)
    return _like([p.name for p in drive_cycle(circuit)] if circuit else [], incomplete)


def points(ctx: typer.Context, incomplete: str) -> list[str]:
    """Points that can be read."""
    from amptrail.jobs.solved.spots import all_spots

    circuit = _circuit(ctx)
    return _like([s.name for s in all_spots(circuit)] if circuit else [], incomplete)


def parts(ctx: typer.Context, incomplete: str) -> list[str]:
    """Parts and functions of the sheet."""
    c = _circuit(ctx)
    return [] if c is None else _like([*(m.name for m in c.musts), *(p.name for p in c.parts)], incomplete)


def places(ctx: typer.Context, incomplete: str) -> list[str]:
    """Places where parts are."""
    circuit = _circuit(ctx)
    return _like([p.place for p in circuit.parts if p.place] if circuit else [], incomplete)


def faults(ctx: typer.Context, incomplete: str) -> list[str]:
    """Faults the sheet names itself."""
    circuit = _circuit(ctx)
    return _like([f.name for f in circuit.faults] if circuit else [], incomplete)


def instruments(ctx: typer.Context, incomplete: str) -> list[str]:
    """Instruments by name."""
    return _like(["meter", "lamp", "loaded", "led", "clamp", "ohmmeter", "fuse-drop"], incomplete)
