"""Working days one by one, by the count that the service makes of many."""

from datetime import date, timedelta

from service.vocabulary.calendar import Calendar, workdays_between


def is_workday(calendar: Calendar, on: date) -> bool:
    """Whether that local date is a working day. Not the first date that can be counted."""
    return workdays_between(calendar, on - timedelta(days=1), on) == 1
