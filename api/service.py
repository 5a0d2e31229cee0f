"""One running service: its settings, store, jobs and memory. Nothing of it is global."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypeVar, cast

from sqlalchemy.orm import Session

from api.accounts import Accounts
from api.jobs import Jobs
from api.metrics import Metrics
from api.settings import Settings
from api.storage.engine import Store
from api.storage.plan_store import plan_row, proved
from api.storage.studio_store import counter, studio_of
from scheduler.audit import AuditedPlan
from shared.clock import Minute, minute_of
from shared.studio import Studio

T = TypeVar("T")

REMEMBERED_VIEWS = 500
"""How many views of days are kept in memory [-]; some 50 kB each."""

REMEMBERED_PLANS = 6
"""How many proved plans are kept in memory [-]."""


class Memory:
    """A few things that are dear to compute, kept by what they were computed from."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._making: dict[Hashable, threading.Lock] = {}
        self._held: OrderedDict[Hashable, object] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """What is kept under ``key``, made first if need be; who asks while it is made waits for it."""
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return cast(T, self._held[key])
            turn = self._making.setdefault(key, threading.Lock())
        with turn:
            with self._lock:
                if key in self._held:
                    return cast(T, self._held[key])
            try:
                made = make()
                with self._lock:
                    self._held[key] = made
                    while len(self._held) > self._most:
                        self._held.popitem(last=False)
                return made
            finally:
                with self._lock:
                    self._making.pop(key, None)


@dataclass
class Service:
    """What every request may need."""

    settings: Settings
    store: Store
    accounts: Accounts
    jobs: Jobs
    metrics: Metrics = field(default_factory=Metrics)
    views: Memory = field(default_factory=lambda: Memory(REMEMBERED_VIEWS))
    plans: Memory = field(default_factory=lambda: Memory(REMEMBERED_PLANS))
    studios: Memory = field(default_factory=lambda: Memory(2))
    stopping: threading.Event = field(default_factory=threading.Event)

    def now(self) -> datetime:
        """The time."""
        return self.settings.clock()

    def minute(self) -> Minute:
        """The minute."""
        return minute_of(self.now())

    def studio(self, session: Session) -> Studio:
        """The studio as it is described now."""
        return self.studios.get(counter(session, "studio"), lambda: studio_of(session))

    def audited(self, session: Session, plan_id: int) -> AuditedPlan:
        """A stored plan with its proof."""
        return self.plans.get(plan_id, lambda: proved(plan_row(session, plan_id)))
