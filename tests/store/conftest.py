"""A PostgreSQL server for these tests alone: started in a folder of its own, on a socket of its own."""

from __future__ import annotations

import itertools
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

STARTS_S = 120.0  # on a machine that is busy with other tests
MISSING = "postgresql is not installed: the store is NOT tried on it (make postgresql)"


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if found:
        return found[-1].parent
    there = shutil.which("initdb")
    return Path(there).parent if there else None


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The folder of the server's socket, as the host of its URLs."""
    programs = _programs()
    if programs is None:
        if os.environ.get("CI") == "true":
            pytest.fail(MISSING)
        pytest.skip(MISSING)
    # the server refuses to run as root; its package brings a user for it
    user = "postgres" if os.getuid() == 0 else None
    folder = Path(tempfile.mkdtemp(prefix="amptrail-pg-"))
    if user:
        found = pwd.getpwnam(user)
        os.chown(folder, found.pw_uid, found.pw_gid)
    data = folder / "data"
    make = [programs / "initdb", "-D", data, "-U", "amptrail", "-A", "trust", "-E", "UTF8", "--no-sync"]
    subprocess.run([*make, "--locale=C.UTF-8"], check=True, capture_output=True, user=user, cwd=folder)
    settings = ("listen_addresses=", f"unix_socket_directories={folder}", "fsync=off", "max_connections=40")
    run = [programs / "postgres", "-D", data, *(x for s in settings for x in ("-c", s))]
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen(run, stdout=log, stderr=log, user=user, cwd=folder)
    try:
        ready = [programs / "pg_isready", "-q", "-h", folder, "-U", "amptrail"]
        until = time.monotonic() + STARTS_S
        while subprocess.run(ready, check=False).returncode != 0:
            assert process.poll() is None, (folder / "log").read_text()
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.1)
        yield str(folder)
    finally:
        process.send_signal(signal.SIGINT)  # a fast shutdown: it waits for no client
        process.wait(30)
        shutil.rmtree(folder, ignore_errors=True)


_number = itertools.count()


@pytest.fixture
def postgresql(server: str) -> Callable[[], str]:
    """Makes an empty database and gives its URL."""
    import psycopg

    def fresh() -> str:
        name = f"jobs_{next(_number)}"
        with psycopg.connect(f"postgresql://amptrail@/postgres?host={server}", autocommit=True) as c:
            c.execute(f"CREATE DATABASE {name}".encode())
        return f"postgresql://amptrail@/{name}?host={server}"

    return fresh
