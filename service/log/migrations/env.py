"""Run by Alembic: `migrate` hands in the connection and owns the transaction."""

from alembic import context

from service.log.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata)
context.run_migrations()
