"""Working days and working minutes against other people's calendars and against the bare clock.

Days: numpy's functions for business days, with the public holidays of the package `holidays`.
Minutes: each minute of the wall clock, see `tests.outside.walls`.
"""

from datetime import date
from random import Random

import numpy as np
import pytest

from service.vocabulary.calendar import (
    Shift,
    end_of_day_min,
    start_of_day_min,
    workdays_between,
    working_time,
)
from tests.outside.holidays_kept import (
    CLOSES_MIN,
    DAY,
    EPOCH_ON,
    EVERY_DAY,
    MONDAY_TO_FRIDAY,
    OPENS_MIN,
    STUDIOS,
    YEARS,
    Studio,
    calendar,
    calendar_of,
    days,
    days_off,
    others_calendar,
)
from tests.outside.walls import (
    APIA,
    DAY_MIN,
    SPANS,
    Span,
    by_the_rule,
    inside,
    minutes_of,
    on_the_wall,
    walls,
)
from tests.vocabulary.workdays import is_workday

# --- days ------------------------------------------------------------------------------------


@pytest.mark.parametrize("studio", STUDIOS, ids=lambda studio: studio.zone)
def test_signed_working_days_of_every_date_agree_with_numpy(studio: Studio) -> None:
    kept, others = calendar_of(studio), others_calendar(studio)
    off = days_off(studio)
    assert len(off) > 5 * len(YEARS), "the package knows no holidays there"
    dates = [date(YEARS[0], 1, 1) + DAY * day for day in range(365 * len(YEARS))]
    assert [is_workday(kept, on) for on in dates] == np.is_busday(
        days(dates), busdaycal=others
    ).tolist()
    # a leap day, a year's last day, a day off, a Saturday, a Sunday
    for from_on in (date(2024, 2, 29), date(2026, 12, 31), off[40], date(2028, 1, 1), dates[0]):
        low = days([min(from_on, on) + DAY for on in dates])
        high = days([max(from_on, on) + DAY for on in dates])
        count = np.busday_count(low, high, busdaycal=others)
        signed = np.where(np.array([on < from_on for on in dates]), -count, count)
        assert [workdays_between(kept, from_on, on) for on in dates] == signed.tolist()


@pytest.mark.parametrize("studio", STUDIOS, ids=lambda studio: studio.zone)
def test_as_many_working_days_on_as_numpy_goes_are_counted(studio: Studio) -> None:
    kept, others = calendar_of(studio), others_calendar(studio)
    drawn = Random(studio.zone)
    for _ in range(300):
        from_on = date(2024, 6, 1) + DAY * drawn.randrange(365 * 8)
        count = drawn.choice([drawn.randint(-5, 5), drawn.randint(-400, 400)])
        to = np.busday_offset(from_on, count, roll="backward", busdaycal=others)
        assert workdays_between(kept, from_on, to.astype(date)) == count


def test_counts_of_working_days_in_numpys_documentation() -> None:
    # examples of busday_count, which counts [begin, end)
    office_days = calendar("UTC", Shift(MONDAY_TO_FRIDAY, OPENS_MIN, CLOSES_MIN))
    saturdays = calendar("UTC", Shift((6,), OPENS_MIN, CLOSES_MIN))
    eve, year_end = date(2010, 12, 31), date(2011, 12, 31)
    assert workdays_between(office_days, eve, date(2011, 1, 31)) == 21
    assert workdays_between(office_days, eve, year_end) == 260
    assert workdays_between(saturdays, eve, year_end) == 53


@pytest.mark.parametrize(
    ("on", "year", "week", "weekday"),
    [
        (date(2005, 1, 1), 2004, 53, 6),
        (date(2008, 12, 29), 2009, 1, 1),
        (date(2010, 1, 3), 2009, 53, 7),
    ],
)
def test_weeks_are_those_of_iso_8601(on: date, year: int, week: int, weekday: int) -> None:
    # weeks begin on Monday, which is day 1; 4 January lies in a year's first week: the rule is the
    # standard's, the dates are of our choice and their weeks by the standard library's isocalendar
    assert on.isocalendar() == (year, week, weekday)
    only = calendar("UTC", Shift((weekday,), OPENS_MIN, CLOSES_MIN))
    others = tuple(day for day in EVERY_DAY if day != weekday)
    assert is_workday(only, on)
    assert not is_workday(calendar("UTC", Shift(others, OPENS_MIN, CLOSES_MIN)), on)
    mondays = calendar("UTC", Shift((1,), OPENS_MIN, CLOSES_MIN))
    assert workdays_between(mondays, date(year, 1, 4) - DAY * 7, on) == week


def test_a_date_that_never_was_is_no_working_day() -> None:
    # Samoa went over Friday 2011-12-30, the Marshall Islands' Kwajalein over 1993-08-21
    apia = calendar("Pacific/Apia", Shift(MONDAY_TO_FRIDAY, OPENS_MIN, CLOSES_MIN))
    assert not is_workday(apia, date(2011, 12, 30))
    assert workdays_between(apia, date(2011, 12, 29), date(2012, 1, 2)) == 1
    kwajalein = calendar("Pacific/Kwajalein", Shift(EVERY_DAY, OPENS_MIN, CLOSES_MIN))
    assert workdays_between(kwajalein, date(1993, 8, 20), date(1993, 8, 22)) == 1


def test_a_margin_is_not_a_count_of_all_days() -> None:
    """Easter of 2031 is 13 April; Denmark keeps the Thursday and the Friday before and the Monday.

    The Gregorian computus, and the Danish act on holidays (from memory).
    """
    kept = calendar_of(STUDIOS[0])
    assert workdays_between(kept, date(2031, 4, 9), date(2031, 4, 15)) == 1
    assert workdays_between(kept, date(2031, 4, 15), date(2031, 4, 9)) == -1


# --- minutes ---------------------------------------------------------------------------------

# no edge of these lies where a clock is changed
DAY_SHIFTS = (Shift(MONDAY_TO_FRIDAY, 8 * 60 + 15, 12 * 60), Shift(EVERY_DAY, 13 * 60, 18 * 60))
NIGHT = Shift(EVERY_DAY, 21 * 60, 30 * 60 + 7)  # until 06:07
LATE = Shift((5, 6), 19 * 60, 40 * 60)  # until the next afternoon


def shift_sets(span: Span) -> list[tuple[Shift, ...]]:
    if span == APIA:  # a night into the Friday that never was lasts as long as any other
        return [DAY_SHIFTS, (Shift(EVERY_DAY, 480, 1080),)]
    return [DAY_SHIFTS, (NIGHT,), (LATE,), (*DAY_SHIFTS, NIGHT, LATE)]


@pytest.mark.parametrize("span", SPANS, ids=str)
def test_a_minute_is_worked_when_the_wall_shows_a_time_within_hours(span: Span) -> None:
    off = [span.until_on - DAY * 2]
    for shifts in shift_sets(span):
        time = working_time(calendar(span.zone, *shifts, off=off), span.from_on, span.until_on)
        worked, seen = minutes_of(span, time), on_the_wall(span, shifts, off)
        assert seen[inside(span)].any()
        assert np.array_equal(worked[inside(span)], seen[inside(span)]), shifts


@pytest.mark.parametrize("span", SPANS, ids=str)
def test_hours_that_begin_or_end_while_the_clock_is_changed_follow_the_stated_rule(
    span: Span,
) -> None:
    drawn = Random(str(span))
    for _ in range(25):
        shifts = []
        for _ in range(drawn.randint(1, 2)):
            opens = drawn.choice([drawn.randrange(0, 200, 5), drawn.randrange(0, DAY_MIN, 15)])
            length = drawn.choice([drawn.randrange(5, 120, 5), drawn.randrange(60, 1200, 15)])
            weekdays = tuple(drawn.sample(EVERY_DAY, drawn.randint(3, 7)))
            shifts.append(Shift(weekdays, opens, opens + length))
        time = working_time(calendar(span.zone, *shifts), span.from_on, span.until_on)
        worked, seen = minutes_of(span, time), by_the_rule(span, shifts)
        assert np.array_equal(worked[inside(span)], seen[inside(span)]), shifts


@pytest.mark.parametrize("span", SPANS, ids=str)
def test_minutes_between_instants_and_ends_of_work_are_counted_one_by_one(span: Span) -> None:
    shifts = (*DAY_SHIFTS, NIGHT)
    first, wall = walls(span)
    around = calendar(span.zone, *shifts)
    time = working_time(around, span.from_on - DAY * 4, span.until_on + DAY * 4)
    seen = by_the_rule(span, shifts)
    drawn = Random(str(span))
    within = range(DAY_MIN * 2, len(wall) - DAY_MIN * 2)  # far from where the walls were cut off
    for _ in range(150):
        a, b = sorted(drawn.sample(within, 2))
        worked = int(seen[a:b].sum())
        assert time.minutes_between(first + a, first + b) == worked
        if worked:
            last = a + int(np.flatnonzero(seen[a:b])[-1])
            assert time.add(first + a, worked) == first + last + 1
            begun = a + int(np.flatnonzero(seen[a:b])[0])
            assert time.subtract(first + b, worked) == first + begun
            assert time.next_working(first + a) == first + begun


@pytest.mark.parametrize("span", SPANS, ids=str)
def test_a_day_is_over_when_the_wall_first_shows_a_later_date(span: Span) -> None:
    first, wall = walls(span)
    kept = calendar(span.zone)
    for day in range((span.until_on - span.from_on).days):
        on = span.from_on + DAY * day
        midnight = ((on - EPOCH_ON).days + 1) * DAY_MIN
        over = first + int(np.flatnonzero(wall >= midnight)[0])
        assert end_of_day_min(kept, on) == over
        assert start_of_day_min(kept, on + DAY) == over
