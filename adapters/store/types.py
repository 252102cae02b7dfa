"""Column types that mean the same on SQLite and PostgreSQL."""

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import String
from sqlalchemy.types import TypeDecorator


class Instant(TypeDecorator[datetime]):
    """An instant, kept as UTC text of fixed width, so that it sorts as it should and comes back aware.

    The databases' own types either lose the offset (SQLite) or depend on the session's zone. A naive value is refused.
    """

    impl = String(27)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> str | None:
        """Aware datetime to UTC text; ValueError for a naive one."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"naive datetime {value!r}: an instant needs its offset")
        return f"{value.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"

    def process_result_value(self, value: str | None, dialect: Any) -> datetime | None:
        """UTC text to aware datetime."""
        return None if value is None else datetime.fromisoformat(value)
