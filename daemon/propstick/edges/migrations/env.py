"""What Alembic runs to get its connection: the one `upgrade` opened, with its transaction."""

from alembic import context

from propstick.edges.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    transactional_ddl=False,  # the caller holds the transaction
)
context.run_migrations()
