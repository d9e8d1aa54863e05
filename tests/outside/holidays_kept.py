"""Studios in several countries, with the holidays that the package `holidays` knows there."""

from collections.abc import Iterable
from datetime import date, timedelta
from functools import cache
from typing import NamedTuple

import holidays
import numpy as np
import numpy.typing as npt

from service.vocabulary.calendar import Calendar, CalendarVersion, Shift

DAY = timedelta(days=1)
EPOCH_ON = date(1970, 1, 1)
OPENS_MIN, CLOSES_MIN = 9 * 60, 17 * 60
MONDAY_TO_FRIDAY = (1, 2, 3, 4, 5)
SUNDAY_TO_THURSDAY = (7, 1, 2, 3, 4)
SUNDAY_TO_FRIDAY = (7, 1, 2, 3, 4, 5)
EVERY_DAY = (1, 2, 3, 4, 5, 6, 7)


class Studio(NamedTuple):
    """Where a studio keeps which holidays, and its week."""

    zone: str
    country: str
    part: str | None = None
    weekdays: tuple[int, ...] = MONDAY_TO_FRIDAY


STUDIOS = (
    Studio("Europe/Copenhagen", "DK"),
    Studio("America/Los_Angeles", "US", "CA"),
    Studio("America/St_Johns", "CA", "NL"),
    Studio("America/Sao_Paulo", "BR", "SP"),
    Studio("Australia/Sydney", "AU", "NSW"),
    Studio("Australia/Lord_Howe", "AU", "NSW"),
    Studio("Asia/Tokyo", "JP"),
    Studio("Asia/Jerusalem", "IL", None, SUNDAY_TO_THURSDAY),
    Studio("Asia/Kathmandu", "NP", None, SUNDAY_TO_FRIDAY),
)
YEARS = range(2023, 2034)


@cache
def days_off(studio: Studio) -> tuple[date, ...]:
    """The public holidays, those on days that are not worked anyway too."""
    public = holidays.country_holidays(studio.country, subdiv=studio.part, years=YEARS)
    return tuple(sorted(public))


def days(dates: Iterable[date]) -> npt.NDArray[np.datetime64]:
    return np.array(list(dates), "datetime64[D]")


@cache
def others_calendar(studio: Studio) -> np.busdaycalendar:
    """The same week and days off for numpy."""
    mask = [day in studio.weekdays for day in EVERY_DAY]
    return np.busdaycalendar(mask, days(days_off(studio)))


def calendar(zone: str, *shifts: Shift, off: Iterable[date] = ()) -> Calendar:
    return Calendar(zone, (CalendarVersion(EPOCH_ON, shifts, frozenset(off)),))


def calendar_of(studio: Studio) -> Calendar:
    shift = Shift(studio.weekdays, OPENS_MIN, CLOSES_MIN)
    return calendar(studio.zone, shift, off=days_off(studio))
