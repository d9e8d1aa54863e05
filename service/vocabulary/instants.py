"""Instants: RFC 3339 text outside, integer microseconds or minutes since the epoch inside."""

import re
from datetime import UTC, datetime, timedelta
from functools import lru_cache

US_PER_MIN = 60_000_000
NOT_YET_US = -1
"""An instant that has not come: None would make states, of which there are many, larger."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_RFC3339 = re.compile(
    r"\d{4}-\d\d-\d\d[Tt]\d\d:\d\d:\d\d(?:\.\d{1,6})?(?:[Zz]|[+-]\d\d:\d\d)", re.ASCII
)


# the same few instants come again and again: a batch is recorded at one, a morning starts at one
@lru_cache(maxsize=1 << 12)
def parse_instant(text: str) -> int:
    """Microseconds since the epoch of an RFC 3339 date-time with a zone.

    Raises ValueError for any other text, a leap second included (the log has no place for one).
    """
    if _RFC3339.fullmatch(text) is None:
        raise ValueError("not an RFC 3339 date-time with a zone, such as 2031-03-04T09:30:00Z")
    return instant_us(datetime.fromisoformat(text.upper()))


def instant_us(moment: datetime) -> int:
    """Microseconds since the epoch of an aware datetime."""
    # a difference of datetimes is exact, a float timestamp is not
    return (moment - _EPOCH) // timedelta(microseconds=1)


@lru_cache(maxsize=1 << 12)
def instant(at_us: int) -> datetime:
    """The UTC datetime of microseconds since the epoch."""
    return _EPOCH + timedelta(microseconds=at_us)


@lru_cache(maxsize=1 << 12)
def format_instant(at_us: int) -> str:
    """RFC 3339 text in UTC; a fraction only where there is one."""
    return instant(at_us).isoformat().replace("+00:00", "Z")


def format_min(at_min: int) -> str:
    """RFC 3339 text in UTC of minutes since the epoch."""
    return format_instant(at_min * US_PER_MIN)
