"""Run by Alembic: on the connection it is given, with batch mode for SQLite."""

from alembic import context
from sqlalchemy import Connection

from referral.storage.db import Base


def run(connection: Connection) -> None:
    """Run the migrations asked for, in one transaction."""
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
        user_module_prefix="db.",
    )
    with context.begin_transaction():
        context.run_migrations()


run(context.config.attributes["connection"])
