"""Alembic's environment: migrations run on the connection that record/migrations.py hands over."""

from __future__ import annotations

from alembic import context

from weirbook.record.tables import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
    compare_type=True,
    transaction_per_migration=True,
)
context.run_migrations()
