"""Runs the migrations on the connection that `amptrail.store.migrate` hands over."""

from alembic import context

from amptrail.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"], target_metadata=metadata, render_as_batch=True
)
context.run_migrations()  # the caller's transaction holds them: all or nothing
