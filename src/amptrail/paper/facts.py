"""What the papers are made of: plain facts of a job, gathered by the use cases; nothing here computes or
looks anything up."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Found:
    """A suspect as paper shows it: in words, with its size, its repair, and what cannot be told from it."""

    words: str
    size: str
    repair: str
    repair_min: float
    share: float  # probability, 0..1
    others: tuple[str, ...] = ()
    separates: str | None = None  # the reading that would tell it from the first
    places: tuple[str, ...] = ()  # where on the vehicle, in the words of the sheet


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading as entered, and in words what it ruled out."""

    line: str
    ruled_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fitted:
    """A temporary feed: ends, wire, fuse, verdict and its sentence, what is lost and what no longer stops
    by itself."""

    name: str
    words: str
    a: str
    b: str
    verdict: str  # holds, refused, undecided
    why: str
    fuse_a: float | None = None
    fuse_place: str = ""
    wire: str = ""
    parts: tuple[str, ...] = ()
    cuts: tuple[str, ...] = ()
    minutes: float | None = None
    true_only_if: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()
    stays_on: tuple[str, ...] = ()
    how_off: str | None = None
    drain_a: float | None = None
    until: str | None = None
    undo: tuple[str, ...] = ()
    asked_by: str | None = None
    fitted: bool = False
    asked: bool = False  # somebody wanted it: judged, and not fitted
    a_place: str = ""
    b_place: str = ""
    broken: tuple[str, ...] = ()  # every rule it breaks, in words, where it does not hold

    @property
    def holds(self) -> bool:
        """Proved for its purpose."""
        return self.verdict == "holds"

    @property
    def ends(self) -> tuple[str, str]:
        """Both ends with their places."""
        a = f"{self.a} ({self.a_place})" if self.a_place else self.a
        return a, f"{self.b} ({self.b_place})" if self.b_place else self.b


@dataclass(frozen=True, slots=True)
class Spent:
    """Minutes of one kind of time, all places together; `places` where the log knows them; `by_hand` when a
    person said them."""

    what: str
    minutes: float
    places: tuple[tuple[str, float], ...] = ()
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class Used:
    """A part that was used: how many, and the price of one where it was told."""

    words: str
    count: float = 1.0
    price: float | None = None


@dataclass(frozen=True, slots=True)
class Bill:
    """What an invoice needs beside time and parts. `flat`: an agreed price in place of time; `vat` per cent;
    `agreed_min`: minutes of looking for the cause that were agreed to."""

    number: str = ""
    customer: str = ""
    issuer: str = ""
    terms: str = ""
    flat: float | None = None
    vat: float | None = None
    agreed_min: float | None = None


@dataclass(frozen=True, slots=True)
class Slice:
    """A slice of a quote: up to so many minutes, what it will have decided, where it stops."""

    minutes: float
    decides: str


@dataclass(frozen=True, slots=True)
class Check:
    """One thing a proof needs: `shown` True or False by a reading, None when nobody has looked."""

    words: str
    shown: bool | None
    by: str | None = None  # the reading that shows it, or the test that would


@dataclass(frozen=True, slots=True)
class Shown:
    """What a recording shows: its picture (SVG), what it is of, what happened in it, what it was held
    against."""

    svg: str
    caption: str
    lines: tuple[str, ...] = ()
    checks: tuple[Check, ...] = ()


@dataclass(frozen=True, slots=True)
class CaseFacts:
    """A job as paper needs it. Minutes are minutes; money is text, in the shop's own currency."""

    job: str
    date: str
    vehicle: str
    by: str = ""
    complaint: str | None = None
    found: tuple[Found, ...] = ()
    proven: bool = False
    unexplained: bool = False
    readings: tuple[Reading, ...] = ()
    cause: str | None = None
    done: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
    neighbours: tuple[str, ...] = ()
    vain: tuple[str, ...] = ()
    acceptance: tuple[str, ...] = ()
    feeds: tuple[Fitted, ...] = ()
    no_drive: tuple[str, ...] = ()  # why it must not be driven
    expected_min: float | None = None
    p80_min: float | None = None
    bound_min: float | None = None
    slices: tuple[Slice, ...] = ()
    rate_per_hour: float | None = None
    currency: str = ""
    battery_ah: float | None = None
    odometer: str = ""
    drawing: str | None = None
    checks: tuple[Check, ...] = ()
    recordings: tuple[Shown, ...] = ()
    claim: str = ""  # the part the checks are about
    module: bool = False
    alternatives: tuple[tuple[str, str], ...] = ()  # what else fits, the reading that separates it
    more_alternatives: int = 0
    spent: tuple[Spent, ...] = ()
    used: tuple[Used, ...] = ()
    bill: Bill = Bill()
    photographs: tuple[tuple[str, bytes, str], ...] = ()  # media type, content, caption
    to_read: tuple[tuple[str, ...], ...] = ()  # where, state, with, other lead: what is worth reading next
