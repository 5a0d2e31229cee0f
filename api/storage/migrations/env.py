"""Runs migrations on the connection that `api.storage.migrating` hands over."""

from __future__ import annotations

from alembic import context

from api.storage.tables import Row

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Row.metadata,
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
