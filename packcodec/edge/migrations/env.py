"""What Alembic runs: the steps that are missing, on the connection it is given."""

from alembic import context

from packcodec.edge.tables import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
with context.begin_transaction():
    context.run_migrations()
