"""Column types that keep their promise on every database."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import DateTime, Dialect
from sqlalchemy.types import TypeDecorator


class UtcTime(TypeDecorator[datetime]):
    """An aware time, stored in UTC. SQLite forgets offsets, so that none but UTC may reach it."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a time without an offset; store the others as UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without an offset cannot be stored")
        return value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Give the offset back where the database forgot it."""
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
