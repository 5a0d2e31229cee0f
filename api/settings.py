"""How one service is set up. Nothing here is global: `create_app` takes a `Settings`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path


def utc_now() -> datetime:
    """The clock: the service's only place that asks it."""
    return datetime.now(UTC)


def clock_from(moment: datetime) -> Callable[[], datetime]:
    """A clock that shows ``moment`` at first and goes on from there, to try a studio in the week it was made for."""
    ahead = moment - utc_now()
    return lambda: utc_now() + ahead


@dataclass(frozen=True)
class Settings:
    """Settings of a service.

    Attributes
    ----------
    data
        The database: a file for SQLite, or a URL.
    folder
        A studio folder that is imported if the database holds no studio yet.
    public_url
        Where people reach the service; stands in the links that it prints and in calendar feeds.
    secure_cookies
        Whether cookies go over HTTPS only; follows from ``public_url`` unless said.
    clock
        What time it is.
    plan_seconds
        How long a solve searches unless the request says [s].
    solver_threads
        Threads of a solve [-].
    solver_nice
        How much a solve stands back for people's requests; added to the worker's niceness [-].
    session_days
        How long a sign-in lasts [d].
    watch_seconds
        How often the day is looked at for what did not happen [s]; None: only when asked.
    warm
        Whether what the first reader needs is prepared before the service is ready.
    hash_passwords_quickly
        Cheap password hashes, for tests alone.
    """

    data: str | Path = "kilnrota.db"
    folder: Path | None = None
    public_url: str = "http://127.0.0.1:8000"
    secure_cookies: bool | None = None
    clock: Callable[[], datetime] = utc_now
    plan_seconds: float = 20.0
    solver_threads: int = 2
    solver_nice: int = 10
    session_days: int = 30
    watch_seconds: float | None = 60.0
    warm: bool = True
    hash_passwords_quickly: bool = False

    @property
    def cookies_are_secure(self) -> bool:
        """Whether cookies go over HTTPS only."""
        return self.public_url.startswith("https://") if self.secure_cookies is None else self.secure_cookies

    @property
    def session_length(self) -> timedelta:
        """How long a sign-in lasts."""
        return timedelta(days=self.session_days)


MAX_BODY_BYTES = 8_000_000
"""Largest request body [byte]; house choice: a log of three days at one reading in two seconds."""
