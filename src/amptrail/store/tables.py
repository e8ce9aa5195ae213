"""The tables of the log on disk. Migrations make them (`migrations/versions`); a test compares the two."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()
HEX = String(64)
# words are compared letter by letter everywhere, whatever the language of the database
WORD = String(60).with_variant(String(60, collation="C"), "postgresql")

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
    Column("by", String(60), nullable=False, server_default=""),
    UniqueConstraint("job", "id", name="one_entry_an_id"),
)

files = Table(
    "files",
    metadata,
    Column("sha256", HEX, primary_key=True),
    Column("size", BigInteger, nullable=False),
    Column("media", String(100), nullable=False),
)

pieces = Table(
    "pieces",
    metadata,
    Column("sha256", HEX, ForeignKey("files.sha256"), primary_key=True),
    Column("part", Integer, primary_key=True),
    Column("data", LargeBinary, nullable=False),
)

people = Table(
    "people",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("name", String(60), nullable=False),
    Column("role", String(20), nullable=False),
    Column("at", String(40), nullable=False),
)

# derived, may be thrown away and made again: which job says which word (`amptrail.store.search`)
words = Table(
    "words",
    metadata,
    Column("word", WORD, primary_key=True),
    Column("job", Integer, ForeignKey("jobs.number"), primary_key=True),
    Column("weight", Integer, primary_key=True),
)

indexed = Table(
    "indexed",
    metadata,
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("upto", Integer, nullable=False),  # the last entry whose words are in
)

KEPT = (jobs, entries, files, pieces, people)  # append-only
Index("words_of_job", words.c.job)
