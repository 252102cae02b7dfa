"""Runs the revisions on the connection, and in the transaction, that adapters.store.migrate opened."""

from alembic import context

from adapters.store.tables import metadata

connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    compare_type=True,
    compare_server_default=True,
)
with context.begin_transaction():
    context.run_migrations()
