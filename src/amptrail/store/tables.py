"""The tables of the log on disk. Migrations make them (`migrations/versions`); a test compares the two."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Integer, MetaData, String, Table, Text, UniqueConstraint

metadata = MetaData()

jobs = Table(
    "jobs",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("name", String(200), nullable=False, unique=True),
)

entries = Table(
    "entries",
    metadata,
    Column("number", Integer, primary_key=True),  # the order of adding
    Column("job", Integer, ForeignKey("jobs.number"), nullable=False),
    Column("id", String(200), nullable=False),
    Column("kind", String(20), nullable=False),
    Column("at", String(40), nullable=False),
    Column("data", Text, nullable=False),
    UniqueConstraint("job", "id", name="one_entry_an_id"),
)
