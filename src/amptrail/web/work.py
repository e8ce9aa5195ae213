"""Use cases in a process beside the server: a sheet that takes too long is stopped, and the server stays
up."""

from __future__ import annotations

import asyncio
import multiprocessing
import signal
import traceback
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from functools import lru_cache, partial
from multiprocessing import resource_tracker
from pathlib import Path
from typing import Any

from amptrail.errors import InputError, Problem, one

Json = dict[str, Any]
LONGEST_S = 60.0
SMALLER = "make the sheet smaller (one function of one vehicle), or try again when this machine is less busy"


def _expect(sheet: str, **asked: Any) -> Json:
    from amptrail.jobs.expect import ExpectOptions, expect

    return expect(sheet, ExpectOptions(**asked))


def _suspects(sheet: str, readings: str, **asked: Any) -> Json:
    from amptrail.jobs.judging.suspects import SuspectOptions

    return _weighed(sheet, readings, SuspectOptions(**asked))


@lru_cache(maxsize=16)
def _weighed(sheet: str, readings: str, options: Any) -> Json:
    """Kept: every choice on the circuit screen asks for them beside its drawing."""
    from amptrail.jobs.judging.suspects import suspects

    return suspects(sheet, readings, options)


def _next(sheet: str, readings: str, **asked: Any) -> Json:
    from amptrail.jobs.judging.nexttest import NextOptions, next_tests

    return next_tests(sheet, readings, NextOptions(**asked))


def _visit(sheet: str, readings: str, **asked: Any) -> Json:
    from amptrail.jobs.judging.nexttest import NextOptions

    return _visited(sheet, readings, NextOptions(**asked))


@lru_cache(maxsize=16)
def _visited(sheet: str, readings: str, options: Any) -> Json:
    """Kept: a page loaded again, or by a second device, is not planned again."""
    from amptrail.jobs.judging.visiting import visiting

    return visiting(sheet, readings, options)


def _feed(sheet: str, **asked: Any) -> Json:
    from amptrail.jobs.feeding.feeding import FeedOptions, feed

    return feed(sheet, FeedOptions(**asked))


def _fit(job: str, text: str, by: str, **more: Any) -> Json:
    from amptrail.jobs.log.cases import run

    return run("fit", job, [text], str, None, None, more, by or None)


def _cycle(sheet: str, **asked: Any) -> Json:
    from amptrail.jobs.cycle import CycleOptions, cycle

    return cycle(sheet, CycleOptions(**asked))


def _check(sheet: str) -> Json:
    from amptrail.jobs.check import check

    return check(sheet)


def _fields(sheet: str) -> Json:
    from amptrail.jobs.filling import fields

    return fields(sheet)


def _fill(sheet: str, part: str, attribute: str, typed: str) -> Json:
    from amptrail.jobs.filling import fill

    return fill(sheet, part, attribute, typed)


def _drawing(sheet: str, **asked: Any) -> Json:
    from amptrail.jobs.drawing import DrawOptions, drawing

    return drawing(sheet, DrawOptions(**asked))


def _trail(sheet: str, at: str, phase: str) -> Json:
    from amptrail.jobs.trail import trail

    return trail(sheet, at, phase, (), None)


def _recording(job: str, key: str, **asked: Any) -> Json:
    from amptrail.jobs.recorded.recordingfiles import read
    from amptrail.jobs.recorded.recordings import RecordingOptions

    return read(job, key, RecordingOptions(**asked))


def _intake(sheet: str, readings: str, **asked: Any) -> Json:
    from amptrail.jobs.judging.intake import IntakeOptions, intake

    return intake(sheet, readings, IntakeOptions(**asked))


def _condemn(sheet: str, readings: str, part: str | None, **asked: Any) -> Json:
    from amptrail.jobs.judging.worded import part_sheet

    return part_sheet(sheet, readings, part, **asked)


def _drain(sheet: str, readings: str, **asked: Any) -> Json:
    from amptrail.jobs.night.asked import night
    from amptrail.jobs.night.drain import DrainOptions

    return night(sheet, readings, DrainOptions(**asked))


def _practice(sheet: str, seed: int, tries: str) -> Json:
    from amptrail.jobs.practise.practice import PracticeOptions, practice

    return practice(sheet, PracticeOptions(seed, tries))


def _paper(job: str, form: str, asked: Json) -> Json:
    from amptrail.jobs.log.cases import case
    from amptrail.jobs.papers.papers import PaperOptions, make
    from amptrail.paper import html, pdf

    made = make(case(job), PaperOptions(**asked))
    return {"content": pdf(made) if form == "pdf" else html(made).encode()}


USE_CASES: dict[str, Callable[..., Json]] = {
    "expect": _expect,
    "suspects": _suspects,
    "next": _next,
    "visit": _visit,
    "feed": _feed,
    "cycle": _cycle,
    "check": _check,
    "fields": _fields,
    "fill": _fill,
    "fit": _fit,
    "draw": _drawing,
    "trail": _trail,
    "recording": _recording,
    "practice": _practice,
    "intake": _intake,
    "condemn": _condemn,
    "drain": _drain,
    "paper": _paper,
}


def _call(name: str, asked: Json) -> tuple[bool, Any]:
    """(whether it went well, the answer or the problems): errors cross the process as plain data."""
    try:
        return True, USE_CASES[name](**asked)
    except InputError as e:
        return False, e.problems
    except Exception as e:  # a fault of the program is told like one of the input, and the server stays up
        where = traceback.extract_tb(e.__traceback__)[-1]
        said = f"{type(e).__name__}: {e} ({Path(where.filename).name}:{where.lineno})"
        remedy = "keep the sheet and report this fault of the program"
        return False, (Problem("internal", said, remedy=remedy),)


def _warm() -> None:
    """Load what every answer needs; a process that is new to the machine takes seconds for that."""
    import amptrail.jobs.judging.visiting  # noqa: F401


@contextmanager
def _deaf() -> Iterator[None]:
    """A process that is started within does not hear Ctrl-C, from its first instruction on: that is for the
    server, which ends it itself."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    resource_tracker.ensure_running()  # started within, it would let Ctrl-C through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class Workers:
    """A process that answers one question after the other; started anew when it had to be stopped."""

    def __init__(self, longest_s: float = LONGEST_S, smaller: str = SMALLER) -> None:
        self.longest_s, self.smaller = longest_s, smaller
        self._pool: ProcessPoolExecutor | None = None
        self._turn = asyncio.Lock()

    async def warm(self) -> None:
        """Start the process and load it, before anybody asks: its time counts for no question."""
        async with self._turn:
            if self._pool is None:
                with suppress(BrokenProcessPool):
                    await self._put(_warm)

    def _ready(self) -> ProcessPoolExecutor:
        if self._pool is None:
            self._pool = ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))
        return self._pool

    def _put(self, call: Callable[[], Any]) -> asyncio.Future[Any]:
        pool = self._ready()
        with _deaf():
            return asyncio.get_running_loop().run_in_executor(pool, call)

    async def ask(self, name: str, **asked: Any) -> Json:
        """The answer of a use case. InputError with its problems, or `too-long` when it had to be stopped.
        One question after the other: waiting for others counts for none."""
        await self.warm()
        try:
            async with self._turn:
                went, got = await asyncio.wait_for(self._put(partial(_call, name, asked)), self.longest_s)
        except (TimeoutError, BrokenProcessPool) as e:
            self.stop()
            raise one(
                "too-long",
                f"this took longer than {self.longest_s:.0f} s and was stopped",
                remedy=self.smaller,
            ) from e
        if not went:
            raise InputError(got)
        return dict(got)

    def stop(self) -> None:
        """End the process, whatever it is doing."""
        pool, self._pool = self._pool, None
        if pool is not None:
            for process in list((pool._processes or {}).values()):
                process.kill()
            pool.shutdown(wait=False, cancel_futures=True)
