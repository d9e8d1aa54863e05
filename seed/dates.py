"""The studio's working dates and wall times."""

from datetime import date, timedelta

from seed.scenario import DAYS_OFF, FIRST_ON, LAST_ON, ZONE
from service.vocabulary.calendar import Calendar, start_of_day_min

_ZONE = Calendar(ZONE, ())
_DAY = timedelta(days=1)


def wall_min(on: date, minute: int) -> int:
    """UTC minutes of a wall time, given as minutes from midnight; no clock changes on workdays."""
    return start_of_day_min(_ZONE, on) + minute


def is_workday(on: date) -> bool:
    """Whether the studio works."""
    return on.isoweekday() <= 5 and str(on) not in DAYS_OFF


def workdays_after(on: date, count: int) -> date:
    """The working date that many working days later."""
    while count > 0:
        on += _DAY
        count -= is_workday(on)
    return on


def recorded_dates() -> list[date]:
    """The working dates of the record."""
    span = (LAST_ON - FIRST_ON).days + 1
    return [on for on in (FIRST_ON + _DAY * day for day in range(span)) if is_workday(on)]
