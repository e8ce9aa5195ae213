"""Attachments, people, who entered what, and the words of a job; guards for PostgreSQL too."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

NEW = ("files", "pieces", "people")
OLD = ("jobs", "entries")
SAYING = "the job log is append-only"
WORD = sa.String(60).with_variant(sa.String(60, collation="C"), "postgresql")


def _guard_sqlite(table: str) -> None:
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{SAYING}'); END"
        )


def _guard_postgresql(table: str) -> None:
    op.execute(
        f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION amptrail_append_only()"
    )


def upgrade() -> None:
    """Add what is new; nothing that is there is touched."""
    op.add_column("entries", sa.Column("by", sa.String(60), nullable=False, server_default=""))
    op.create_table(
        "files",
        sa.Column("sha256", sa.String(64), primary_key=True),
        sa.Column("size", sa.BigInteger, nullable=False),
        sa.Column("media", sa.String(100), nullable=False),
    )
    op.create_table(
        "pieces",
        sa.Column("sha256", sa.String(64), sa.ForeignKey("files.sha256"), primary_key=True),
        sa.Column("part", sa.Integer, primary_key=True),
        sa.Column("data", sa.LargeBinary, nullable=False),
    )
    op.create_table(
        "people",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(60), nullable=False),
        sa.Column("role", sa.String(20), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
    )
    op.create_table(
        "words",
        sa.Column("word", WORD, primary_key=True),
        sa.Column("job", sa.Integer, sa.ForeignKey("jobs.number"), primary_key=True),
        sa.Column("weight", sa.Integer, primary_key=True),
    )
    op.create_index("words_of_job", "words", ["job"])
    op.create_table(
        "indexed",
        sa.Column("version", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("upto", sa.Integer, nullable=False),
    )
    if op.get_bind().dialect.name == "sqlite":
        for table in NEW:
            _guard_sqlite(table)
    else:
        op.execute(
            "CREATE FUNCTION amptrail_append_only() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{SAYING}'; END $$"
        )
        for table in (*OLD, *NEW):
            _guard_postgresql(table)


def downgrade() -> None:
    """A log is never thrown away by a migration."""
    raise NotImplementedError("the job log is append-only: copy the file instead")
