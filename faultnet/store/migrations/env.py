"""Runs migrations on the connection it is handed; there is no other way to call it."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
