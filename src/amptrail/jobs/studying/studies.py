"""Many sheets studied at once: on this machine's cores, or on a cluster that is there already.

One function studies one sheet wherever it runs (`study.study`). What is done is written at once, one set of
Parquet files a sheet, the file of `sheets` last: a sheet counts as done when that one is there, so that a
run that was broken off goes on where it stopped and nothing is done twice. A worker that dies takes its
sheet with it; the sheet is given to another, three times at most.
"""

from __future__ import annotations

import hashlib
import io
import json
import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from amptrail.errors import InputError, one
from amptrail.jobs.base.context import Json, answer
from amptrail.jobs.studying.study import StudyOptions, study
from amptrail.solve.threads import cores
from amptrail.store.whole import write_whole

VERSION = 1  # of the study itself: another one is done anew
TRIES = 3
WAITING = 4  # sheets handed out a worker: enough to keep it busy, few to do again when it dies
TABLES = ("faults", "groups", "matter", "functions", "additions")
Told = Callable[[int, int], None]
USUAL = StudyOptions()


@dataclass(frozen=True)
class Given:
    """A sheet by name, with its text."""

    name: str
    text: str

    def mark(self, o: StudyOptions) -> str:
        """What its files are called: the same sheet, options and kind of study."""
        asked = json.dumps([VERSION, self.text, asdict(o)], sort_keys=True)
        return hashlib.sha256(asked.encode()).hexdigest()[:32]


def studied(given: Given, o: StudyOptions) -> Json:
    """One sheet's study as a row that can be stored; a sheet that is not sound says why. Runs anywhere."""
    os.environ.setdefault("AMPTRAIL_THREADS", "1")  # workers share out sheets, not lanes
    row: Json = {"sheet": given.name, "sha256": hashlib.sha256(given.text.encode()).hexdigest()}
    try:
        return {**row, "status": "done", "problem": None, **study(given.text, o)}
    except InputError as e:
        return _failed(row, str(e))


def _failed(row: Json, why: str) -> Json:
    return {"sheet": row["sheet"], "sha256": row["sha256"], "status": "failed", "problem": why}


# ---- where it runs ----------------------------------------------------------------------------------
@contextmanager
def _local(workers: int) -> Iterator[Executor]:
    """Separate processes of this machine, begun anew: a forked thread pool would hang."""
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))
    try:
        yield pool
    finally:
        pool.shutdown(wait=False, cancel_futures=True)


@contextmanager
def _cluster(address: str) -> Iterator[Executor]:
    """A dask.distributed cluster that runs already."""
    try:
        import distributed
    except ImportError as e:
        raise one(
            "no-cluster", "a cluster needs dask.distributed", remedy="pip install 'amptrail[study]'"
        ) from e
    connect: Any = distributed.Client
    try:
        client = connect(address, timeout="10s", set_as_default=False)
    except (OSError, TimeoutError, ValueError) as e:
        raise one(
            "no-cluster",
            f"no cluster answers at {address}: {e}",
            remedy="give the address its scheduler prints, such as tcp://10.0.0.5:8786",
        ) from e
    with closing(client):
        yield client.get_executor(retries=0)


def _each(
    place: Callable[[], Any], wanted: Sequence[Given], o: StudyOptions, at_once: int
) -> Iterator[tuple[Given, Json]]:
    """Every sheet's row as it is done. A pool that broke is made anew for what was not."""
    tries = {g.name: 0 for g in wanted}
    left = list(wanted)
    while left:
        with place() as pool:
            broken = False
            running: dict[Future[Json], Given] = {}
            while (left or running) and not broken:
                while left and len(running) < at_once:
                    g = left.pop(0)
                    running[pool.submit(studied, g, o)] = g
                done, _ = wait(list(running), return_when=FIRST_COMPLETED)
                for f in done:
                    g = running.pop(f)
                    try:
                        yield g, f.result()
                        continue
                    except BrokenProcessPool:
                        broken = True
                    except Exception as e:  # a worker of a cluster lost, or a fault of the program
                        if not _lost(e):
                            yield g, _failed(_row(g), f"{type(e).__name__}: {e}")
                            continue
                    tries[g.name] += 1
                    if tries[g.name] < TRIES:
                        left.append(g)
                    else:
                        yield g, _failed(_row(g), f"its worker died {TRIES} times")
            left += [g for g in running.values() if g not in left]


def _lost(e: Exception) -> bool:
    return type(e).__name__ in ("KilledWorker", "CancelledError", "CommClosedError", "FutureCancelledError")


def _row(g: Given) -> Json:
    return {"sheet": g.name, "sha256": hashlib.sha256(g.text.encode()).hexdigest()}


# ---- what is kept -----------------------------------------------------------------------------------
def _rows_of(row: Json, name: str) -> list[Json]:
    own = {"sheet": row["sheet"], "sha256": row["sha256"]}
    return [{**own, **x} for x in row.get("every_fault" if name == "faults" else name, ())]


def keep(folder: Path, mark: str, row: Json) -> None:
    """Write a sheet's tables; that of `sheets`, which says that it is done, last. OSError as always."""
    for name in TABLES:
        rows = _rows_of(row, name)
        if rows:
            _write(folder / name / f"{mark}.parquet", rows)
    summary = {k: v for k, v in row.items() if not isinstance(v, (list, dict))}
    summary |= {f"told_apart_{k}": v for k, v in row.get("told_apart_by", {}).items()}
    _write(
        folder / "sheets" / f"{mark}.parquet", [{**summary, "object": json.dumps(row, ensure_ascii=False)}]
    )


def _write(path: Path, rows: list[Json]) -> None:
    import pyarrow as pa
    from pyarrow import parquet

    path.parent.mkdir(parents=True, exist_ok=True)
    out = io.BytesIO()
    parquet.write_table(pa.Table.from_pylist(rows), out, compression="zstd")
    write_whole(path, out.getvalue())


def kept(folder: Path, mark: str) -> Json | None:
    """The row of a sheet that was done before; None when it was not, or its file cannot be read."""
    import pyarrow as pa
    from pyarrow import parquet

    path = folder / "sheets" / f"{mark}.parquet"
    if not path.is_file():
        return None
    try:
        got: Json = json.loads(parquet.read_table(path, columns=["object"])["object"][0].as_py())
    except (pa.ArrowInvalid, KeyError, OSError, ValueError):
        return None
    return got


def studies(
    wanted: Sequence[Given],
    o: StudyOptions = USUAL,
    folder: Path | None = None,
    cluster: str | None = None,
    workers: int | None = None,
    told: Told = lambda done, of: None,
) -> Json:
    """Study sheets (docs/study.md). `folder`: where the Parquet tables are kept and what was done is found;
    `cluster`: the address of a scheduler; `workers`: processes of this machine, 0: in this one.
    `told(done, of)` is called as they are done."""
    if not wanted:
        raise one(
            "no-sheets", "there is no sheet to study", remedy="name sheets, or folders that hold *.sheet"
        )
    marks = {g.name: g.mark(o) for g in wanted}
    rows: dict[str, Json] = {}
    if folder is not None:
        for g in wanted:
            before = kept(folder, marks[g.name])
            if before is not None:
                rows[g.name] = {**before, "sheet": g.name, "from_before": True}
    todo = [g for g in wanted if g.name not in rows]
    told(len(rows), len(wanted))
    for g, row in _done(todo, o, cluster, workers):
        if folder is not None:
            try:
                keep(folder, marks[g.name], row)
            except OSError as e:
                raise one("cannot-write", f"cannot write in {folder}: {e.strerror or e}",
                          remedy="name a folder you may write in") from e  # fmt: skip
        rows[g.name] = {**row, "from_before": False}
        told(len(rows), len(wanted))
    return _answer([rows[g.name] for g in wanted], o, folder)


def _done(
    todo: Sequence[Given], o: StudyOptions, cluster: str | None, workers: int | None
) -> Iterator[tuple[Given, Json]]:
    if cluster is not None:
        return _each(lambda: _cluster(cluster), todo, o, 1 << 30)
    count = min(cores() if workers is None else workers, len(todo))
    if count <= 1:
        return ((g, studied(g, o)) for g in todo)
    return _each(lambda: _local(count), todo, o, count * WAITING)


def _answer(rows: list[Json], o: StudyOptions, folder: Path | None) -> Json:
    """The answer object: the lists of a sheet cut to `top`; the tables have them whole."""
    short = []
    for r in rows:
        cut = {k: v[: o.top] if isinstance(v, list) else v for k, v in r.items() if k != "every_fault"}
        short.append({**cut, "groups_in_all": len(r.get("groups", ()))})
    failed = sum(r["status"] == "failed" for r in rows)
    body = {
        "sheets": short,
        "done": len(rows) - failed,
        "failed": failed,
        "from_before": sum(r["from_before"] for r in rows),
        "out": None if folder is None else str(folder),
    }
    return answer("study", None, body, exit_status=1 if failed else 0)
