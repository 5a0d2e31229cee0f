"""The service's commands: serve, export, backup, restore. `api.command_line` takes them in with ``register(app)``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from shared.errors import RequestError

if TYPE_CHECKING:
    import socket

    from api.storage.engine import Store

Data = Annotated[
    str,
    typer.Option(
        "--data",
        metavar="FILE|URL",
        envvar="KILNROTA_DATA",
        help="The service's data: a file, made if need be, or the URL of a PostgreSQL database.",
    ),
]

STOP_SECONDS = 3
"""How long open connections may hold up a stop [s]; house choice."""


def serve(
    studio: Annotated[
        Path | None, typer.Option("--studio", metavar="FOLDER", help="Take this studio in on the first start.")
    ] = None,
    data: Data = "kilnrota.db",
    host: Annotated[str, typer.Option("--host", help="Address to listen at; 0.0.0.0 for the whole network.")] = (
        "127.0.0.1"
    ),
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0 for any free one.")] = 8000,
    url: Annotated[
        str | None, typer.Option("--url", metavar="URL", help="Where people reach it, if not at host and port.")
    ] = None,
) -> None:
    """Run the studio's own service: bookings, plans, the day, people."""
    with _listen(host, port) as listening:
        _serve(listening, studio, data, url, host)


def _serve(listening: socket.socket, studio: Path | None, data: str, url: str | None, host: str) -> None:
    import uvicorn

    from api.app import create_app
    from api.logs import set_up_logs
    from api.settings import Settings

    public = (url or f"http://{host}:{listening.getsockname()[1]}").rstrip("/")
    set_up_logs()
    application = create_app(Settings(data=data, folder=studio, public_url=public))
    service = application.state.service
    try:
        with service.store.read() as session:
            name = service.studio(session).place.name
    except RequestError:
        service.store.close()
        raise
    print(f"{name} is served at {public}", flush=True)
    secret = service.accounts.first_link(service.now())
    if secret is not None:
        print(f"Nobody can sign in yet. Make the first manager, once, at {public}/welcome?link={secret}", flush=True)
    config = uvicorn.Config(
        application, log_config=None, access_log=False, timeout_graceful_shutdown=STOP_SECONDS, server_header=False
    )

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: Any) -> None:
            # Event streams end by themselves as soon as they see this.
            service.stopping.set()
            super().handle_exit(sig, frame)

    Server(config).run(sockets=[listening])


def export(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write the studio's folder.")],
    data: Data = "kilnrota.db",
) -> None:
    """Write the service's studio, waiting loads and published plan back as a studio folder."""
    from api.storage.plan_store import current, plan_row, proved
    from api.storage.studio_store import studio_of, waiting_loads
    from shared.files import write_folder, write_plan

    store = _opened(data)
    try:
        with store.read() as session:
            studio, loads = studio_of(session), waiting_loads(session)
            publication = current(session)
            audited = None if publication is None else proved(plan_row(session, publication.plan_id))
    finally:
        store.close()
    write_folder(folder, studio, loads)
    if audited is not None:
        write_plan(folder / "plan.json", audited.plan, audited.studio)
    print(f"wrote {len(loads)} waiting loads and the studio to {folder}", file=sys.stderr)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The backup to write.")],
    data: Data = "kilnrota.db",
) -> None:
    """Back the service's data up while it runs, and check the backup by restoring it."""
    from api.storage.backup import back_up

    store = _opened(data)
    try:
        contents = back_up(store, file)
    finally:
        store.close()
    print(f"wrote {file}: {contents.total} rows, restored and looked through", file=sys.stderr)


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")],
    data: Data = "kilnrota.db",
) -> None:
    """Make the service's data from a backup; nothing that is there is overwritten."""
    from api.storage.backup import restore as restored_from

    contents = restored_from(file, data)
    print(f"restored {contents.total} rows, looked through", file=sys.stderr)


def register(app: typer.Typer) -> None:
    """Add the service's commands to the program's."""
    for command in (serve, export, backup, restore):
        app.command()(command)


def _opened(data: str) -> Store:
    from api.storage.engine import Store
    from api.storage.migrating import revision

    store = Store(data)
    if store.sqlite and not store.file.is_file():
        raise RequestError(f"there is no {store.file.name}; name the service's data with --data")
    store.check()
    if revision(store) is None:
        store.close()
        raise RequestError("the data has no studio yet; start kilnrota serve --studio FOLDER once")
    return store


def _listen(host: str, port: int) -> socket.socket:
    import socket

    try:
        return socket.create_server((host, port))
    except OSError as error:
        raise RequestError(
            f"cannot listen at {host}:{port} ({error.strerror or 'no such address'}); name another --port or --host"
        ) from None
