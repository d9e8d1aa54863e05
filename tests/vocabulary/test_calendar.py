from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from service.planning.board.posing import YEARS_AHEAD
from service.vocabulary.calendar import (
    NEVER,
    WORKDAYS_FROM_ON,
    WORKDAYS_TO_ON,
    Calendar,
    CalendarVersion,
    Shift,
    WorkingTime,
    end_of_day_min,
    local_date,
    start_of_day_min,
    workdays_between,
    working_time,
)
from service.web.schemas.fields import YEAR_FIRST, YEAR_LAST
from tests.vocabulary.workdays import is_workday

WEEKDAYS = (1, 2, 3, 4, 5)
EVERY_DAY = (1, 2, 3, 4, 5, 6, 7)
OFFICE = Shift(WEEKDAYS, 9 * 60, 17 * 60)


def calendar(zone: str, *shifts: Shift, off: tuple[date, ...] = ()) -> Calendar:
    return Calendar(zone, (CalendarVersion(date(2000, 1, 1), shifts, frozenset(off)),))


def minute(text: str) -> int:
    """UTC minutes since the epoch of an ISO instant with its offset."""
    return int(datetime.fromisoformat(text).timestamp()) // 60


def windows(worked: WorkingTime) -> list[tuple[int, int]]:
    return list(zip(worked.starts.tolist(), worked.ends.tolist(), strict=True))


def hours(worked: WorkingTime) -> list[tuple[str, str]]:
    def text(t_min: int) -> str:
        return datetime.fromtimestamp(t_min * 60, UTC).strftime("%m-%d %H:%M")

    return [(text(start), text(end)) for start, end in windows(worked)]


# --- windows ---------------------------------------------------------------------------------


def test_a_week_has_its_shifts_and_not_its_days_off() -> None:
    studio = calendar("UTC", OFFICE, off=(date(2026, 1, 7),))
    assert hours(working_time(studio, date(2026, 1, 5), date(2026, 1, 12))) == [
        ("01-05 09:00", "01-05 17:00"),
        ("01-06 09:00", "01-06 17:00"),
        ("01-08 09:00", "01-08 17:00"),
        ("01-09 09:00", "01-09 17:00"),
    ]


def test_the_version_in_force_on_the_opening_date_decides() -> None:
    early = CalendarVersion(date(2026, 1, 6), (Shift(EVERY_DAY, 480, 540),), frozenset())
    late = CalendarVersion(
        date(2026, 1, 8), (Shift(EVERY_DAY, 600, 660),), frozenset([date(2026, 1, 9)])
    )
    studio = Calendar("UTC", (early, late))
    assert hours(working_time(studio, date(2026, 1, 1), date(2026, 1, 11))) == [
        ("01-06 08:00", "01-06 09:00"),
        ("01-07 08:00", "01-07 09:00"),
        ("01-08 10:00", "01-08 11:00"),
        ("01-10 10:00", "01-10 11:00"),
    ]
    assert [is_workday(studio, date(2026, 1, day)) for day in range(5, 11)] == [
        False, True, True, True, False, True,
    ]  # fmt: skip


def test_overlapping_and_touching_shifts_are_one_window() -> None:
    studio = calendar("UTC", Shift((1,), 540, 720), Shift((1,), 700, 900), Shift((1,), 900, 960))
    worked = working_time(studio, date(2026, 1, 5), date(2026, 1, 6))
    assert hours(worked) == [("01-05 09:00", "01-05 16:00")]


def test_a_shift_past_midnight_is_whole_on_both_ends_of_the_range() -> None:
    night = calendar("UTC", Shift(EVERY_DAY, 22 * 60, 30 * 60))
    assert hours(working_time(night, date(2026, 1, 6), date(2026, 1, 7))) == [
        ("01-05 22:00", "01-06 06:00"),
        ("01-06 22:00", "01-07 06:00"),
    ]
    assert hours(working_time(night, date(2026, 12, 31), date(2027, 1, 1)))[-1] == (
        "12-31 22:00",
        "01-01 06:00",
    )


def test_a_shift_that_ends_at_midnight_does_not_reach_the_next_date() -> None:
    evening = calendar("UTC", Shift(EVERY_DAY, 1200, 1440))
    worked = working_time(evening, date(2026, 1, 6), date(2026, 1, 7))
    assert hours(worked) == [("01-06 20:00", "01-07 00:00")]


def test_no_versions_and_no_shifts_are_no_working_time() -> None:
    for studio in (Calendar("UTC", ()), calendar("UTC"), calendar("UTC", Shift((1,), 60, 60))):
        assert windows(working_time(studio, date(2026, 1, 1), date(2027, 1, 1))) == []
    assert workdays_between(Calendar("UTC", ()), date(2026, 1, 1), date(2027, 1, 1)) == 0


def test_the_same_calendar_gives_the_same_object_which_cannot_be_written() -> None:
    first = working_time(calendar("UTC", OFFICE), date(2026, 1, 1), date(2027, 1, 1))
    again = working_time(calendar("UTC", OFFICE), date(2026, 1, 1), date(2027, 1, 1))
    assert first is again
    assert len({first, again, WorkingTime.of(windows(first))}) == 2
    with pytest.raises(ValueError, match="read-only"):
        first.starts[0] = 0


# --- daylight saving -------------------------------------------------------------------------
# Change dates from the IANA time zone database: Europe/Lisbon 2026-03-29 01:00 and 2026-10-25
# 02:00; America/New_York 2026-03-08 02:00 and 2026-11-01 02:00; Asia/Tokyo has none.


def test_office_hours_move_against_utc_with_the_clock() -> None:
    lisbon = calendar("Europe/Lisbon", Shift((5, 1), 540, 1020))
    assert hours(working_time(lisbon, date(2026, 3, 27), date(2026, 3, 31))) == [
        ("03-27 09:00", "03-27 17:00"),
        ("03-30 08:00", "03-30 16:00"),
    ]
    new_york = calendar("America/New_York", Shift((5, 1), 540, 1020))
    assert hours(working_time(new_york, date(2026, 10, 30), date(2026, 11, 3))) == [
        ("10-30 13:00", "10-30 21:00"),
        ("11-02 14:00", "11-02 22:00"),
    ]


@pytest.mark.parametrize(
    ("zone", "on", "worked_min"),
    [
        ("Europe/Lisbon", date(2026, 3, 28), 420),
        ("Europe/Lisbon", date(2026, 10, 24), 540),
        ("America/New_York", date(2026, 3, 7), 420),
        ("America/New_York", date(2026, 10, 31), 540),
        ("Asia/Tokyo", date(2026, 3, 28), 480),
        ("Asia/Tokyo", date(2026, 10, 24), 480),
    ],
)
def test_a_night_shift_across_the_change_has_the_hours_that_passed(
    zone: str, on: date, worked_min: int
) -> None:
    night = calendar(zone, Shift((6,), 22 * 60, 30 * 60))
    worked = working_time(night, on, on + timedelta(days=1))
    assert worked.minutes_between(0, NEVER) == worked_min


def test_skipped_and_repeated_wall_times_follow_the_stated_rule() -> None:
    sunday = calendar("America/New_York", Shift((7,), 2 * 60 + 30, 12 * 60))
    skipped = working_time(sunday, date(2026, 3, 8), date(2026, 3, 9))
    assert windows(skipped)[0][0] == minute("2026-03-08T03:30:00-04:00")
    sunday = calendar("America/New_York", Shift((7,), 1 * 60 + 30, 12 * 60))
    repeated = working_time(sunday, date(2026, 11, 1), date(2026, 11, 2))
    assert windows(repeated)[0][0] == minute("2026-11-01T01:30:00-04:00")


def test_a_shift_that_the_change_leaves_without_length_is_dropped() -> None:
    # 02:45 is read as 03:45 on the new clock, after the shift has closed at 03:15.
    sunday = calendar("America/New_York", Shift((7,), 2 * 60 + 45, 3 * 60 + 15))
    worked = working_time(sunday, date(2026, 3, 8), date(2026, 3, 16))
    assert hours(worked) == [("03-15 06:45", "03-15 07:15")]


# --- counting along the windows --------------------------------------------------------------

SPLIT = WorkingTime.of([(100, 110), (200, 230), (300, 301)])


def test_counting_along_windows() -> None:
    assert SPLIT.cumulative.tolist() == [0, 10, 40]
    assert SPLIT.minutes_between(105, 205) == 10
    assert SPLIT.minutes_between(205, 105) == 0
    assert SPLIT.add(100, 10) == 110  # the end of the window, not the opening of the next
    assert SPLIT.add(100, 11) == 201
    assert SPLIT.add(0, 41) == 301
    assert SPLIT.add(0, 42) == NEVER
    assert SPLIT.add(150, 0) == 150
    assert SPLIT.subtract(205, 5) == 200
    assert SPLIT.subtract(205, 6) == 109
    assert SPLIT.subtract(150, 10) == 100
    assert SPLIT.subtract(NEVER, 10) == NEVER
    assert [SPLIT.next_working(t) for t in (0, 100, 109, 110, 300, 301)] == [
        100, 100, 109, 200, 300, NEVER,
    ]  # fmt: skip


def test_time_before_the_first_window_counts_when_going_back() -> None:
    assert SPLIT.subtract(105, 5) == 100
    assert SPLIT.subtract(105, 7) == 98
    assert SPLIT.subtract(50, 7) == 43
    assert WorkingTime.of([]).subtract(50, 7) == 43


def test_nothing_can_be_done_without_windows() -> None:
    none = WorkingTime.of([])
    assert none.add(50, 1) == NEVER
    assert none.next_working(50) == NEVER
    assert none.minutes_between(0, NEVER) == 0


def test_a_stoppage_is_not_working_time() -> None:
    assert windows(SPLIT.without([(205, 210), (108, 203)])) == [
        (100, 108), (203, 205), (210, 230), (300, 301),
    ]  # fmt: skip
    assert windows(SPLIT.without([(220, NEVER)])) == [(100, 110), (200, 220)]
    assert SPLIT.without([]) is SPLIT


spans = st.tuples(st.integers(0, 400), st.integers(0, 60)).map(lambda s: (s[0], s[0] + s[1]))
span_lists = st.lists(spans, max_size=8)


def minutes_of(spans: list[tuple[int, int]]) -> set[int]:
    return {t for start, end in spans for t in range(start, end)}


@given(span_lists, span_lists)
def test_windows_and_stoppages_are_sets_of_minutes(
    opened: list[tuple[int, int]], stopped: list[tuple[int, int]]
) -> None:
    worked = WorkingTime.of(opened).without(stopped)
    assert minutes_of(windows(worked)) == minutes_of(opened) - minutes_of(stopped)
    assert (worked.starts < worked.ends).all()
    assert (worked.ends[:-1] < worked.starts[1:]).all()
    lengths = np.cumsum(worked.ends - worked.starts)
    assert worked.cumulative.tolist() == [0, *lengths.tolist()][: len(worked.starts)]


@given(span_lists, st.integers(-50, 500), st.integers(1, 200))
def test_adding_ends_with_the_last_of_that_many_minutes(
    opened: list[tuple[int, int]], t: int, minutes: int
) -> None:
    worked = WorkingTime.of(opened)
    rest = sorted(m for m in minutes_of(opened) if m >= t)
    assert worked.add(t, minutes) == (rest[minutes - 1] + 1 if len(rest) >= minutes else NEVER)
    assert worked.next_working(t) == (rest[0] if rest else NEVER)


@given(span_lists, st.integers(-50, 500), st.integers(1, 200))
def test_subtracting_undoes_adding(opened: list[tuple[int, int]], t: int, minutes: int) -> None:
    worked = WorkingTime.of(opened)
    done = sorted(m for m in minutes_of(opened) if m < t)
    start = worked.subtract(t, minutes)
    if len(done) >= minutes:
        assert start == done[-minutes]
        assert worked.add(start, minutes) <= t
        assert worked.add(start + 1, minutes) > t
    else:
        assert start <= t - minutes
    finish = worked.add(t, minutes)
    if finish < NEVER:
        assert worked.subtract(finish, minutes) == worked.next_working(t)


@given(span_lists, st.lists(st.integers(-50, 500), min_size=3, max_size=3).map(sorted))
def test_minutes_between_add_up(opened: list[tuple[int, int]], abc: list[int]) -> None:
    worked = WorkingTime.of(opened)
    a, b, c = abc
    assert worked.minutes_between(a, c) == (
        worked.minutes_between(a, b) + worked.minutes_between(b, c)
    )
    assert worked.minutes_between(a, c) == sum(a <= m < c for m in minutes_of(opened))


# --- days ------------------------------------------------------------------------------------


def test_working_days_agree_with_published_figures() -> None:
    # Examples in the numpy documentation of busday_count, whose range is [begin, end): weekdays
    # in January 2011, weekdays in 2011, Saturdays in 2011.
    studio = calendar("UTC", OFFICE)
    saturdays = calendar("UTC", Shift((6,), 540, 600))
    eve, end = date(2010, 12, 31), date(2011, 12, 31)
    assert workdays_between(studio, eve, date(2011, 1, 31)) == 21
    assert workdays_between(studio, eve, end) == 260
    assert workdays_between(saturdays, eve, end) == 53


@given(
    st.dates(date(1999, 12, 1), date(2060, 12, 31)),
    st.integers(-800, 800),
    st.sets(st.integers(1, 7), min_size=1),
    st.lists(st.dates(date(1960, 1, 1), date(2060, 12, 31)), max_size=20),
)
@example(date(2026, 12, 24), 11, {1, 2, 3, 4, 5}, [date(2026, 12, 25), date(2027, 1, 1)])
def test_working_days_agree_with_numpy(
    from_on: date, days: int, weekdays: set[int], off: list[date]
) -> None:
    to_on = from_on + timedelta(days=days)
    # A short shift and a second one on the same day: a day counts once.
    shifts = (Shift(tuple(sorted(weekdays)), 540, 600), Shift(tuple(sorted(weekdays)), 1320, 1560))
    studio = Calendar("Europe/Lisbon", (CalendarVersion(date(1990, 1, 1), shifts, frozenset(off)),))
    mask = [day in weekdays for day in range(1, 8)]
    low, high = min(from_on, to_on), max(from_on, to_on)
    after = timedelta(days=1)
    count = int(np.busday_count(low + after, high + after, weekmask=mask, holidays=off))
    assert workdays_between(studio, from_on, to_on) == (count if days >= 0 else -count)
    assert is_workday(studio, to_on) == bool(np.is_busday(to_on, weekmask=mask, holidays=off))


def test_working_days_know_versions_and_their_range() -> None:
    first = CalendarVersion(date(2026, 1, 5), (OFFICE,), frozenset([date(2026, 1, 13)]))
    later = CalendarVersion(date(2026, 1, 12), (Shift((2, 6), 540, 600),), frozenset())
    studio = Calendar("UTC", (first, later))
    assert workdays_between(studio, date(2025, 12, 1), date(2026, 1, 11)) == 5
    assert workdays_between(studio, date(2026, 1, 11), date(2026, 1, 18)) == 2
    assert is_workday(studio, WORKDAYS_TO_ON) is False  # a Sunday
    assert is_workday(studio, WORKDAYS_TO_ON - timedelta(days=1)) is True
    with pytest.raises(ValueError, match="1900-01-01 to 2299-12-31"):
        workdays_between(studio, date(2026, 1, 1), date(2300, 1, 1))


def test_working_days_are_counted_between_all_dates_that_may_be_recorded() -> None:
    assert date(YEAR_FIRST, 1, 1) >= WORKDAYS_FROM_ON
    # a plan made on the last of them looks some years further
    assert date(YEAR_LAST + YEARS_AHEAD + 2, 1, 1) < WORKDAYS_TO_ON
    early = CalendarVersion(date(1900, 1, 1), (OFFICE,), frozenset())
    studio = Calendar("UTC", (early,))
    for first in (date(1900, 1, 1), date(1969, 12, 31), date(2199, 12, 20)):
        last = first + timedelta(days=10)
        count = int(np.busday_count(first + timedelta(days=1), last + timedelta(days=1)))
        assert workdays_between(studio, first, last) == count


def test_a_local_date_ends_at_its_midnight() -> None:
    new_york = calendar("America/New_York")
    assert end_of_day_min(new_york, date(2026, 12, 31)) == minute("2027-01-01T05:00:00+00:00")
    assert start_of_day_min(new_york, date(2026, 7, 1)) == minute("2026-07-01T04:00:00+00:00")
    assert local_date(new_york, minute("2027-01-01T04:59:00+00:00")) == date(2026, 12, 31)
    assert local_date(new_york, minute("2027-01-01T05:00:00+00:00")) == date(2027, 1, 1)


# Zones whose midnight is skipped or repeated are the hard cases: Cairo, Beirut and (until 2019)
# Sao Paulo change at midnight, Havana goes from 01:00 back to 00:00, Apia had no 2011-12-30.
@pytest.mark.parametrize(
    "zone",
    ["Asia/Tokyo", "Europe/Lisbon", "Africa/Cairo", "Asia/Beirut", "America/Sao_Paulo",
     "America/Havana", "Pacific/Apia"],
)  # fmt: skip
def test_days_are_cut_where_the_date_on_the_wall_changes(zone: str) -> None:
    studio = calendar(zone)
    for year in (2011, 2017, 2026):
        for day in range(366):
            on = date(year, 1, 1) + timedelta(days=day)
            begins, ends = start_of_day_min(studio, on), end_of_day_min(studio, on)
            if begins == ends:
                assert (zone, on) == ("Pacific/Apia", date(2011, 12, 30))
                continue
            walls = [
                datetime.fromtimestamp(t * 60, ZoneInfo(zone)).date() for t in (begins, ends - 1)
            ]
            assert walls == [on, on]
            assert [local_date(studio, t) for t in (begins, ends - 1)] == [on, on]
            assert local_date(studio, begins - 1) < on
