"""`study`: what is told apart, what would help, and that nothing is lost or done twice when workers die."""

from __future__ import annotations

import multiprocessing
import os
import signal
from pathlib import Path
from typing import Any

import pyarrow.dataset as ds
import pytest

from amptrail.errors import InputError
from amptrail.jobs.studying.studies import Given, studies
from amptrail.jobs.studying.study import study

# Two wires in a row, spliced where nobody can put a lead; the lamp works when on.
SPLICED = """\
phase ignition-on 10 s
phase asleep 3600 s
battery BAT 12.6 V 10 mohm
fuse F1 10 A
switch SW closed in ignition-on
splice S1
lamp L1 12 V 21 W
path BAT.+ -- F1 -- SW -- [W1: RD 2.5 mm2 3 m] -- S1 -- [W2: RD 2.5 mm2 3 m] -- L1
path L1.out -- [W3: BN 2.5 mm2 1 m] -- BAT.-
must lit: L1.in to L1.out 10 V or more in ignition-on
"""


def plain(n: int) -> str:
    return f"""\
battery BAT 12.6 V 10 mohm
fuse F1 {5 + n} A
lamp L1 12 V {5 + n} W
path BAT.+ -- F1 -- [W1: RD 1 mm2 {1 + n} m] -- L1
path L1.out -- [W2: BN 1 mm2 1 m] -- BAT.-
"""


@pytest.fixture(scope="module")
def spliced() -> dict[str, Any]:
    return study(SPLICED)


def test_two_wires_with_nothing_to_touch_between_are_one_group(spliced: dict[str, Any]) -> None:
    group = next(g for g in spliced["groups"] if "W1 open" in g["faults"])
    assert "W2 open" in group["faults"]
    assert not group["one_repair"]
    assert 0.5 < spliced["told_apart"] < 1.0
    # no instrument alone tells more than all together, and each fault stands in exactly one group
    assert max(spliced["told_apart_by"].values()) <= spliced["told_apart"] + 1e-12
    assert sum(x["probability"] for x in spliced["every_fault"]) == pytest.approx(1.0)
    for n in {x["group"] for x in spliced["every_fault"]}:
        members = [x for x in spliced["every_fault"] if x["group"] == n]
        assert all(x["alike"] == len(members) - 1 for x in members)


def test_a_point_between_them_would_help(spliced: dict[str, Any]) -> None:
    at = {(a["kind"], a["at"].split(".")[0]): a for a in spliced["additions"]}
    assert ("test point", "S1") in at or ("test point", "W1") in at or ("test point", "W2") in at
    assert spliced["additions"] == sorted(spliced["additions"], key=lambda a: -a["tells_apart"])
    reachable = SPLICED + "reach S1 back-probe 2 min\n"
    better = study(reachable)
    assert better["told_apart"] > spliced["told_apart"]
    group = next((g["faults"] for g in better["groups"] if "W1 open" in g["faults"]), [])
    assert "W2 open" not in group


def test_tests_that_matter_add_up(spliced: dict[str, Any]) -> None:
    so_far = 0.0
    for m in spliced["matter"]:
        so_far += m["tells_apart"]
        assert m["so_far"] == pytest.approx(so_far)
        assert m["minutes_min"] > 0
    assert so_far <= spliced["told_apart"] + 1e-9
    (function,) = spliced["functions"]
    assert function["bound_min"] <= function["expected_min"] <= function["p80_min"] * 5
    assert function["repairs"] > 1


def test_a_run_goes_on_from_what_is_there(tmp_path: Path) -> None:
    sheets = [Given(f"s{n}", plain(n)) for n in range(3)]
    first = studies(sheets[:2], folder=tmp_path, workers=0)
    assert (first["done"], first["from_before"], first["exit"]) == (2, 0, 0)
    stamps = {p: p.stat().st_mtime_ns for p in tmp_path.rglob("*.parquet")}
    again = studies(sheets, folder=tmp_path, workers=0)
    assert (again["done"], again["from_before"]) == (3, 2)
    assert all(p.stat().st_mtime_ns == t for p, t in stamps.items())
    assert again["sheets"][0] == {**first["sheets"][0], "from_before": True}
    changed = studies([Given("s0", plain(7))], folder=tmp_path, workers=0)
    assert changed["from_before"] == 0
    broken = next(tmp_path.glob("sheets/*.parquet"))
    broken.write_bytes(b"half a file")
    assert studies(sheets, folder=tmp_path, workers=0)["done"] == 3
    table = ds.dataset(tmp_path / "faults").to_table().to_pydict()
    assert set(table["sheet"]) == {"s0", "s1", "s2"}


def test_a_sheet_that_is_not_sound_does_not_stop_the_others() -> None:
    got = studies([Given("bad", "lampp L1 5 W\n"), Given("good", plain(1))], workers=0)
    assert (got["done"], got["failed"], got["exit"]) == (1, 1, 1)
    bad, good = got["sheets"]
    assert bad["status"] == "failed"
    assert "lampp" in bad["problem"]
    assert good["status"] == "done"


def _whole(folder: Path, got: dict[str, Any], names: list[str]) -> None:
    """Every sheet once, in the answer and in the tables; nothing is done anew by another run."""
    assert [s["sheet"] for s in got["sheets"]] == names
    assert (got["done"], got["failed"]) == (len(names), 0)
    table = ds.dataset(folder / "sheets").to_table().to_pydict()
    assert sorted(table["sheet"]) == sorted(names)
    sheets = [Given(n, plain(int(n[1:]))) for n in names]
    again = studies(sheets, folder=folder, workers=0)
    assert again["from_before"] == len(names)
    assert [{**s, "from_before": True} for s in got["sheets"]] == again["sheets"]


def test_a_process_killed_half_way_loses_nothing(tmp_path: Path) -> None:
    names = [f"s{n}" for n in range(5)]
    seen: list[int] = []

    def told(done: int, of: int) -> None:
        seen.append(done)
        if done == 1:
            child = multiprocessing.active_children()[0]
            assert child.pid is not None
            os.kill(child.pid, signal.SIGKILL)

    got = studies([Given(n, plain(int(n[1:]))) for n in names], folder=tmp_path, workers=2, told=told)
    assert seen == [0, 1, 2, 3, 4, 5]  # each sheet is told once
    _whole(tmp_path, got, names)


def test_a_cluster_whose_worker_is_killed_half_way_loses_nothing(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    names = [f"s{n}" for n in range(6)]
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, memory_limit=0,
        silence_logs=50,
    ) as cluster:  # fmt: skip
        seen: list[int] = []

        def told(done: int, of: int) -> None:
            seen.append(done)
            if done == 1:
                os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)

        got = studies(
            [Given(n, plain(int(n[1:]))) for n in names],
            folder=tmp_path,
            cluster=cluster.scheduler_address,
            told=told,
        )
    assert seen == list(range(7))
    _whole(tmp_path, got, names)


def test_no_cluster_and_no_sheets_are_said() -> None:
    with pytest.raises(InputError, match="there is no sheet"):
        studies([])
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match="no cluster answers"):
        studies([Given("s0", plain(0))], cluster="nonsense://nowhere")
