"""Backups while the service runs, and restores; a backup counts only once it has been restored and looked through."""

from __future__ import annotations

import os
import secrets
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import create_engine, func, inspect, select, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError

from api.storage.engine import Store
from api.storage.migrating import drift, upgrade
from api.storage.plan_store import current, plan_row, proved
from api.storage.studio_store import studio_of, waiting_loads
from api.storage.tables import Row
from shared.errors import RequestError


@dataclass(frozen=True, slots=True)
class Contents:
    """What a store holds, as far as a restore is compared by it."""

    rows: tuple[tuple[str, int], ...]
    publication: int

    @property
    def total(self) -> int:
        """Rows of all tables [-]."""
        return sum(number for _, number in self.rows)


def back_up(store: Store, target: Path) -> Contents:
    """Write a backup of a store, and check it by restoring it; the service may go on meanwhile.

    Raises
    ------
    RequestError
        If it cannot be written, or what comes back is not whole.
    """
    if target.exists():
        raise RequestError(f"{target.name} is there already; name another file")
    if not target.parent.is_dir():
        raise RequestError(f"the folder of {target.name} is not there; make it, or name another")
    part = target.with_name(f".{target.name}.part")
    try:
        if store.sqlite:
            with closing(sqlite3.connect(store.file)) as source, closing(sqlite3.connect(part)) as copy:
                source.backup(copy, pages=1000)
                copy.execute("PRAGMA journal_mode = DELETE")
        else:
            _run(["pg_dump", "--format=custom", "--no-owner", f"--file={part}", _bare(store.url)], store.url)
        with _restored(store, part) as copy_store:
            contents = look_through(copy_store)
        _flush(part)
        part.rename(target)
    except OSError as error:
        raise RequestError(f"{target.name} cannot be written ({error.strerror}); name another") from None
    finally:
        part.unlink(missing_ok=True)
    return contents


def restore(backup: Path, data: str) -> Contents:
    """Make a store from a backup; nothing that is there is overwritten.

    Raises
    ------
    RequestError
        If the backup cannot be read, or there is something at the place.
    """
    if not backup.is_file():
        raise RequestError(f"there is no backup {backup.name}; name the file that kilnrota backup wrote")
    store = Store(data)
    try:
        if store.sqlite:
            if store.file.exists():
                raise RequestError(f"{store.file.name} is there already; name another --data")
            with backup.open("rb") as head:
                sqlite = head.read(15) == b"SQLite format 3"
            if not sqlite:
                raise RequestError(f"{backup.name} is no backup of an SQLite store; name one, or another --data")
            shutil.copyfile(backup, store.file)
        else:
            store.check()
            with store.reader.connect() as connection:
                if inspect(connection).get_table_names():
                    raise RequestError("the database is not empty; name an empty one with --data")
            _run(
                ["pg_restore", "--no-owner", "--exit-on-error", f"--dbname={_bare(store.url)}", str(backup)], store.url
            )
        upgrade(store)
        return look_through(store)
    finally:
        store.close()


def look_through(store: Store) -> Contents:
    """Read a store as the service would: tables whole, studio and loads readable, the published plan proved.

    Raises
    ------
    RequestError
        If anything is amiss.
    """
    if store.sqlite:
        with store.reader.connect() as connection:
            found = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            loose = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        if list(found) != ["ok"] or loose:
            raise RequestError("the copy is damaged; check the disk and back up again")
    if drift(store):
        raise RequestError("the copy's tables are not this program's; start the service once, then back up again")
    with store.read() as session:
        rows = tuple(
            (name, session.scalar(select(func.count()).select_from(table)) or 0)
            for name, table in sorted(Row.metadata.tables.items())
        )
        studio_of(session)
        waiting_loads(session)
        publication = current(session)
        if publication is not None:
            proved(plan_row(session, publication.plan_id))
    return Contents(rows, publication.id if publication is not None else 0)


@contextmanager
def _restored(store: Store, backup: Path) -> Iterator[Store]:
    if store.sqlite:
        with tempfile.TemporaryDirectory(prefix="kilnrota-") as folder:
            file = Path(folder) / "restored.db"
            shutil.copyfile(backup, file)
            copy = Store(file)
            try:
                yield copy
            finally:
                copy.close()
        return
    name = f"kilnrota_check_{secrets.token_hex(6)}"
    server = create_engine(store.url, isolation_level="AUTOCOMMIT")
    try:
        with server.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        try:
            url = store.url.set(database=name)
            _run(["pg_restore", "--no-owner", "--exit-on-error", f"--dbname={_bare(url)}", str(backup)], url)
            copy = Store(url.render_as_string(hide_password=False))
            try:
                yield copy
            finally:
                copy.close()
        finally:
            with server.connect() as connection:
                connection.execute(text(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)"))
    except DBAPIError as error:
        reason = " ".join(str(error.orig).split())[:200]
        raise RequestError(
            f"the backup cannot be checked by restoring it ({reason}); let the database's user create databases"
        ) from None
    finally:
        server.dispose()


def _bare(url: URL) -> str:
    # The password goes by the environment: command lines can be read by everybody on the machine.
    return url.set(drivername="postgresql", password=None).render_as_string()


def _run(command: list[str], url: URL) -> None:
    environment = dict(os.environ)
    if url.password:
        environment["PGPASSWORD"] = str(url.password)
    try:
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        raise RequestError(f"{command[0]} is not installed; install PostgreSQL's client programs") from None
    if done.returncode:
        said = " ".join(done.stderr.split())[:300]
        raise RequestError(f"{command[0]} failed ({said}); see that its version is the server's")


def _flush(file: Path) -> None:
    with file.open("rb+") as handle:
        os.fsync(handle.fileno())
