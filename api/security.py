"""Who is asking: passwords, secrets, roles, and what slows down guessing."""

from __future__ import annotations

import hashlib
import secrets
import threading
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from urllib.parse import urlsplit

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from api.storage.change_log import Author

SECRET_BYTES = 32
"""Length of a secret link, token or session [byte]: 256 bits, not to be guessed (RFC 4086 asks for 128)."""

FREE_FAILURES = 4
"""Failed sign-ins of one name in a row that cost no waiting [-]; house choice: a person mistypes twice or thrice."""

FREE_FAILURES_OF_ADDRESS = 30
"""The same for one address [-]; house choice: a whole studio may come from one."""

LONGEST_WAIT = timedelta(minutes=15)
"""Longest wait after failures; house choice: long enough against guessing, short enough not to lock people out."""

FORGOTTEN_AFTER = timedelta(hours=24)
"""Failures are forgotten after so long without another; house choice."""

LEAST_PASSWORD = 10
"""Shortest password [letters]; NIST SP 800-63B asks for at least 8."""

UNSAFE_METHODS = frozenset({"POST", "PUT", "PATCH", "DELETE"})
"""Methods that change something."""


class Role(StrEnum):
    """What somebody may do; the routes say which roles they serve."""

    MANAGER = "manager"
    ATTENDANT = "attendant"
    MEMBER = "member"
    DISPLAY = "display"


STAFF = (Role.MANAGER, Role.ATTENDANT)
PEOPLE = (Role.MANAGER, Role.ATTENDANT, Role.MEMBER)
ALL_ROLES = tuple(Role)


@dataclass(frozen=True, slots=True)
class Identity:
    """Somebody whom the service knows.

    Attributes
    ----------
    person_id
        None for a wall display, which is nobody's.
    credential
        What the request proved it with: ``session`` or ``token``, and its row's id.
    """

    person_id: int | None
    name: str
    role: Role
    credential: tuple[str, int]

    @property
    def staff(self) -> bool:
        """Whether this is a manager or an attendant."""
        return self.role in STAFF

    def author(self, at: datetime) -> Author:
        """The same as the author of changes."""
        return Author(self.person_id, self.name, at)


class Passwords:
    """Hashes and checks passwords (Argon2id, RFC 9106), one at a time so that sign-ins cannot take all memory."""

    def __init__(self, quick: bool = False) -> None:
        hasher = Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1) if quick else Argon2Hasher()
        self._hash = PasswordHash((hasher,))
        self._turn = threading.Lock()
        self._nobody = self._hash.hash(secrets.token_hex(8))

    def hashed(self, password: str) -> str:
        """The hash to keep."""
        with self._turn:
            return self._hash.hash(password)

    def right(self, password: str, kept: str | None) -> bool:
        """Whether a password is the one; takes as long for a person who does not exist."""
        with self._turn:
            good = self._hash.verify(password, kept or self._nobody)
        return good and kept is not None


def new_secret() -> str:
    """A secret nobody can guess, for links and tokens."""
    return secrets.token_urlsafe(SECRET_BYTES)


def secret_hash(secret: str) -> str:
    """What is kept of a secret: enough to know it again, useless to whoever reads the database."""
    return hashlib.sha256(secret.encode()).hexdigest()


def wait_after(failures: int, free: int = FREE_FAILURES) -> timedelta:
    """How long the next attempt has to wait after so many failures in a row.

    >>> [wait_after(n).total_seconds() for n in (4, 5, 8, 30)]
    [0.0, 2.0, 16.0, 900.0]
    """
    if failures <= free:
        return timedelta(0)
    return min(timedelta(seconds=2.0 ** min(failures - free, 20)), LONGEST_WAIT)


def from_elsewhere(headers: Mapping[str, str]) -> bool:
    """Whether a browser says that another site's page sent the request.

    Browsers set ``Sec-Fetch-Site`` (W3C Fetch Metadata) and ``Origin`` (RFC 6454) themselves; a page cannot forge
    them. A program sends neither, and holds no cookie that a foreign page could use.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is None:
        return False
    return urlsplit(origin).netloc != headers.get("host", "")


SAFE_HEADERS = {
    "content-security-policy": "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
"""Headers of every answer (after the OWASP Secure Headers Project's recommendations)."""
