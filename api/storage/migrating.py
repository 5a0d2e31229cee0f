"""Brings a database to this program's tables, and tells whether tables and mapped classes have drifted apart."""

from __future__ import annotations

from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from alembic.util import CommandError

from api.storage.engine import TURN_LOCK, Store
from api.storage.tables import Row
from shared.errors import RequestError


def alembic_config() -> Config:
    """Alembic's configuration; it has no file of its own."""
    config = Config()
    config.set_main_option("script_location", "api.storage:migrations")
    config.set_main_option("path_separator", "os")
    return config


def upgrade(store: Store) -> None:
    """Make or update the tables; a database of today is left as it is.

    Raises
    ------
    RequestError
        If a newer program has been at the database.
    """
    store.check()
    config = alembic_config()
    if revision(store) == ScriptDirectory.from_config(config).get_current_head():
        return
    with store.writer.begin() as connection:
        if not store.sqlite:
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({TURN_LOCK})")
        config.attributes["connection"] = connection
        try:
            command.upgrade(config, "head")
        except CommandError:
            raise RequestError("the data was written by a newer Kilnrota; update the program to at least it") from None


def revision(store: Store) -> str | None:
    """The revision of a database's tables; None for one without any."""
    with store.reader.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def drift(store: Store) -> list[object]:
    """Differences between the database's tables and the mapped classes; none if the migrations are complete."""
    with store.reader.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        return list(compare_metadata(context, Row.metadata))
