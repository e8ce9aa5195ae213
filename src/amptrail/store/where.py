"""Which log is meant, and whether there may be one: every command asks, and no database is loaded for it."""

from __future__ import annotations

import os
from pathlib import Path

FILE = "jobs.sqlite"


def default_path() -> Path:
    """Where jobs are kept without a word: in AMPTRAIL_HOME, else in the user's data folder."""
    home = os.environ.get("AMPTRAIL_HOME")
    if home:
        return Path(home) / FILE
    from platformdirs import user_data_path

    return user_data_path("amptrail", appauthor=False) / FILE


def named() -> Path | str:
    """The log to use: AMPTRAIL_STORE (a file, or the URL of a PostgreSQL database), else the default file."""
    where = os.environ.get("AMPTRAIL_STORE", "").strip()
    if not where:
        return default_path()
    return where if "://" in where else Path(where)


def exists(where: Path | str) -> bool:
    """Whether there may be a log: looking for a job makes no file."""
    return isinstance(where, str) or where.exists()
