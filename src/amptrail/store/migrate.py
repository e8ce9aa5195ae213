"""Brings a log on disk to the version this program writes."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, inspect, text

from amptrail.store.entries import refuse

HEAD = "0002"


def version(connection: Connection) -> str | None:
    """The version of the tables, None for an empty file; StoreError for somebody else's tables."""
    names = set(inspect(connection).get_table_names())
    if not names:
        return None
    if "alembic_version" not in names or "entries" not in names:
        raise refuse("not-a-store", "this holds tables of another program",
                     "name another file, or a database of its own")  # fmt: skip
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def upgrade(connection: Connection) -> None:
    """Run the migrations that are missing, inside the caller's transaction."""
    found = version(connection)
    if found == HEAD:
        return
    if found is not None and found > HEAD:
        raise refuse("store-too-new", f"the log was written by a newer program (version {found}, this one "
                     f"knows {HEAD})", "update the program; the log was left alone")  # fmt: skip
    from alembic import command  # slow to import, and only needed once in a log's life
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
