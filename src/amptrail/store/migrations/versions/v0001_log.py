"""Jobs and their entries, which nobody can change or delete."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

# an append-only log says so itself: whoever opens the file with another program is refused too
GUARDS = [
    f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
    "BEGIN SELECT RAISE(ABORT, 'the job log is append-only'); END"
    for table in ("jobs", "entries")
    for verb in ("UPDATE", "DELETE")
]


def upgrade() -> None:
    """Make the tables and, on SQLite, their guards."""
    op.create_table(
        "jobs",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("name", sa.String(200), nullable=False, unique=True),
    )
    op.create_table(
        "entries",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("job", sa.Integer, sa.ForeignKey("jobs.number"), nullable=False),
        sa.Column("id", sa.String(200), nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.UniqueConstraint("job", "id", name="one_entry_an_id"),
    )
    if op.get_bind().dialect.name == "sqlite":
        for guard in GUARDS:
            op.execute(guard)


def downgrade() -> None:
    """A log is never thrown away by a migration."""
    raise NotImplementedError("the job log is append-only: copy the file instead")
