"""The service's commands: serve, export, backup, restore. `api.command_line` takes them in with ``register(app)``."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from shared.errors import RequestError

if TYPE_CHECKING:
    import socket
    from collections.abc import Callable
    from datetime import datetime

    from api.storage.engine import Store
    from shared.studio import Studio

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
    now: Annotated[
        str | None,
        typer.Option(
            "--now",
            metavar="TIME",
            help="Set its clock to this time and let it go on from there, to try a studio out, e.g. 2026-11-29T18:00. "
            "Where its data were changed later than that, it goes on from then.",
        ),
    ] = None,
) -> None:
    """Run the studio's own service: bookings, plans, the day, people."""
    with _listen(host, port) as listening:
        _serve(listening, studio, data, url, host, now)


def _serve(
    listening: socket.socket, studio: Path | None, data: str, url: str | None, host: str, now: str | None
) -> None:
    import uvicorn

    from api.app import create_app
    from api.logs import set_up_logs
    from api.settings import Settings, utc_now

    public = (url or f"http://{host}:{listening.getsockname()[1]}").rstrip("/")
    set_up_logs()
    clock = utc_now if now is None else _clock(now, studio, data)
    application = create_app(Settings(data=data, folder=studio, public_url=public, clock=clock))
    service = application.state.service
    try:
        with service.store.read() as session:
            place = service.studio(session).place
    except RequestError:
        service.store.close()
        raise
    print(f"{place.name} is served at {public}", flush=True)
    if now is not None:
        begins = service.now().astimezone(place.zone)
        print(f"Its clock begins at {begins:%Y-%m-%dT%H:%M}; it is for trying things out", flush=True)
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


def _clock(now: str, folder: Path | None, data: str) -> Callable[[], datetime]:
    """The clock that ``--now`` asks for. It never goes back behind what the data tell of."""
    from zoneinfo import ZoneInfo

    from api.requests import moment_asked_for
    from api.settings import clock_from, utc_now
    from api.storage.change_log import last_moment
    from api.storage.engine import Store
    from api.storage.migrating import revision, upgrade
    from api.storage.studio_store import has_studio, studio_of
    from shared.clock import local_time
    from shared.files import read_folder

    described: Studio | None = None
    changed = None
    store = Store(data)
    try:
        if (not store.sqlite or store.file.is_file()) and revision(store) is not None:
            upgrade(store)
            with store.read() as session:
                described = studio_of(session) if has_studio(session) else None
                changed = last_moment(session)
    finally:
        store.close()
    if described is None:
        if folder is None:
            return utc_now  # there is nothing to serve, which is told in a moment
        described, _ = read_folder(folder)
    asked = local_time(moment_asked_for(now, "--now", described), ZoneInfo("UTC"))
    return clock_from(asked if changed is None else max(asked, changed))


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
