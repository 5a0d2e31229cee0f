"""The store: one database, SQLite in a file or PostgreSQL by URL, read and written in short transactions.

Writers take turns on both databases: on SQLite by ``BEGIN IMMEDIATE``, on PostgreSQL by an advisory lock held to the
end of the transaction. Whatever a writer reads before it writes is therefore true when it commits. Readers never wait.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event, text
from sqlalchemy.engine import URL, Connection, make_url
from sqlalchemy.exc import ArgumentError, OperationalError
from sqlalchemy.orm import Session

from shared.errors import RequestError

BUSY_MS = 10_000
"""How long a writer waits for another process's turn [ms]; house choice: longer than any of our transactions."""

TURN_LOCK = 1_263_095_892
"""Key of the advisory lock by which PostgreSQL's writers take turns [-]; any number of our own."""

POOL = 12
"""Connections kept open for readers [-]; the server's threads share them."""


class Store:
    """One database.

    Parameters
    ----------
    data
        A file's path for SQLite, or a URL (``postgresql://…``, ``sqlite:///…``).
    """

    def __init__(self, data: str | Path) -> None:
        self.url = url_of(data)
        self.sqlite = self.url.get_backend_name() == "sqlite"
        self._turn = threading.Lock()
        if self.sqlite:
            file = Path(str(self.url.database))
            if not file.parent.is_dir():
                raise RequestError(f"the folder of {file.name} is not there; make it, or name another file")
            self.writer = self._sqlite("BEGIN IMMEDIATE", 2)
            self.reader = self._sqlite("BEGIN", POOL)
        else:
            self.writer = create_engine(self.url, pool_size=POOL, max_overflow=40, pool_pre_ping=True)
            self.reader = self.writer

    @property
    def file(self) -> Path:
        """The file of an SQLite store."""
        return Path(str(self.url.database))

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session that sees one moment of the data and changes nothing."""
        with Session(self.reader, expire_on_commit=False) as session:
            if not self.sqlite:
                session.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session whose changes are kept together when it ends, or not at all if anything fails."""
        with self._turn, Session(self.writer, expire_on_commit=False) as session, session.begin():
            if not self.sqlite:
                session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": TURN_LOCK})
            yield session

    def check(self) -> None:
        """Ask the database for a sign of life.

        Raises
        ------
        RequestError
            If it gives none.
        """
        try:
            with self.read() as session:
                session.execute(text("SELECT 1"))
        except OperationalError as error:
            raise RequestError(_unreachable(self.url, error)) from None

    def close(self) -> None:
        """Give all connections back."""
        self.reader.dispose()
        self.writer.dispose()

    def _sqlite(self, begin: str, pool: int) -> Engine:
        engine = create_engine(self.url, pool_size=pool, max_overflow=40)

        @event.listens_for(engine, "connect")
        def _connect(connection: Any, _record: Any) -> None:
            # Our own BEGIN below; the driver's default would begin late and lose updates without an error.
            connection.isolation_level = None
            cursor = connection.cursor()
            cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
            cursor.execute("PRAGMA journal_mode = WAL")
            cursor.execute("PRAGMA foreign_keys = ON")
            # An answered booking is on the disk, also after a power cut.
            cursor.execute("PRAGMA synchronous = FULL")
            if begin == "BEGIN":
                cursor.execute("PRAGMA query_only = ON")
            cursor.close()

        @event.listens_for(engine, "begin")
        def _begin(connection: Connection) -> None:
            connection.exec_driver_sql(begin)

        return engine


def url_of(data: str | Path) -> URL:
    """The database's URL from what a person gave: a URL or a file's path.

    Raises
    ------
    RequestError
        If it is a URL of another kind of database, or none.

    >>> url_of("studio.db").get_backend_name()
    'sqlite'
    """
    given = str(data)
    if "://" not in given:
        return URL.create("sqlite+pysqlite", database=str(Path(given).absolute()))
    try:
        url = make_url(given)
    except ArgumentError:
        raise RequestError("--data is no database URL; write postgresql://user@host/name, or a file's name") from None
    if url.get_backend_name() in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if url.get_backend_name() == "sqlite" and url.database:
        return url
    raise RequestError(f"--data names a {url.get_backend_name()} database; write postgresql://… or a file's name")


def _unreachable(url: URL, error: OperationalError) -> str:
    reason = " ".join(str(error.orig).split())[:200]
    return f"the database {url.render_as_string(hide_password=True)} cannot be reached ({reason}); is it running?"
