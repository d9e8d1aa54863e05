"""Working calendars: when a department works, in UTC minutes, and how many days lie between dates.

A calendar is a value: a time zone and dated versions of weekly shifts and days off. A shift belongs
to the local date on which it opens, also where it runs past midnight; the version in force on that
date decides. Instants are integers, `_min`: UTC minutes since the epoch.

Wall times become UTC by the rule of `zoneinfo` with fold=0: a wall time that comes twice means the
first; one that is skipped is read with the offset before the change, so 02:30 in a gap of an hour
is the instant 03:30 on the new clock. A shift that such a change leaves without length is dropped.
A date that a zone skipped as a whole (Apia had no 2011-12-30) opens no shift and is no working day.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from service.vocabulary.zones import ZoneInfo

NEVER = 2**62
"""The minute of what does not happen: later than every window."""

WORKDAYS_FROM_ON = date(1900, 1, 1)
WORKDAYS_TO_ON = date(2299, 12, 31)
"""First and last date for which working days are counted: all that may be said in a fact (1900 to
2199), and as far beyond as a plan made then could come."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MINUTE = timedelta(minutes=1)
_DAY = timedelta(days=1)
_DAY_MIN = 24 * 60
_FIRST_ORDINAL = WORKDAYS_FROM_ON.toordinal()

Minutes = npt.NDArray[np.int64]


class Shift(NamedTuple):
    """Hours on some weekdays (ISO: Monday is 1), in minutes from local midnight.

    `closes_min` is above 1440 where the shift runs past midnight. One that does not close after it
    opens has no working time.
    """

    weekdays: tuple[int, ...]
    opens_min: int
    closes_min: int


class CalendarVersion(NamedTuple):
    """Shifts and days off in force from a date until the next version."""

    from_on: date
    shifts: tuple[Shift, ...]
    days_off: frozenset[date]


class Calendar(NamedTuple):
    """An IANA zone and versions in order of date; before the first there is no working time."""

    zone: str
    versions: tuple[CalendarVersion, ...]


@dataclass(frozen=True, eq=False, slots=True)
class WorkingTime:
    """Working minutes as half-open windows [start, end), disjoint and in order.

    `cumulative` holds the working minutes before each window. Two are equal only if they are the
    same object, so they can key a cache. The arrays are read-only.
    """

    starts: Minutes
    ends: Minutes
    cumulative: Minutes

    @classmethod
    def of(cls, windows: Iterable[tuple[int, int]]) -> "WorkingTime":
        """From windows in any order: drops empty ones, joins those that overlap or touch."""
        joined = list(_joined(windows))
        starts = np.array([start for start, _ in joined], dtype=np.int64)
        ends = np.array([end for _, end in joined], dtype=np.int64)
        cumulative = np.zeros(len(joined), dtype=np.int64)
        np.cumsum((ends - starts)[:-1], out=cumulative[1:])
        for array in (starts, ends, cumulative):
            array.setflags(write=False)
        return cls(starts, ends, cumulative)

    def minutes_between(self, a: int, b: int) -> int:
        """Working minutes in [a, b); 0 where b is not after a."""
        return self._worked_before(b) - self._worked_before(a) if b > a else 0

    def add(self, t: int, minutes: int) -> int:
        """The end of the last of `minutes` working minutes counted from `t`; NEVER past the end.

        `t` itself where `minutes` is 0.
        """
        if minutes == 0:
            return t
        target = self._worked_before(t) + minutes
        row = int(self.cumulative.searchsorted(target, side="left")) - 1
        if row < 0:
            return NEVER
        end = int(self.starts[row]) + target - int(self.cumulative[row])
        return end if end <= self.ends[row] else NEVER

    def subtract(self, t: int, minutes: int) -> int:
        """The latest start from which `minutes` working minutes are over by `t`.

        That is the start of the first of the last `minutes` working minutes before `t`, which
        undoes `add`. Time before the first window counts as working, so that an answer stays finite
        and comparable however late it is. `t` itself where `minutes` is 0 or `t` is NEVER.
        """
        if minutes == 0 or t >= NEVER:
            return t
        target = self._worked_before(t) - minutes
        if target < 0:
            return min(t, int(self.starts[0])) + target if len(self.starts) else t - minutes
        row = int(self.cumulative.searchsorted(target, side="right")) - 1
        return int(self.starts[row]) + target - int(self.cumulative[row])

    def next_working(self, t: int) -> int:
        """The first working minute that is not before `t`, else NEVER."""
        row = int(self.ends.searchsorted(t, side="right"))
        return max(t, int(self.starts[row])) if row < len(self.starts) else NEVER

    def without(self, stoppages: Sequence[tuple[int, int]]) -> "WorkingTime":
        """The same less the minutes of `stoppages`, half-open [start, end), in any order."""
        if not stoppages:
            return self
        stops = list(_joined(stoppages))
        left: list[tuple[int, int]] = []
        first = 0
        for start, end in zip(self.starts.tolist(), self.ends.tolist(), strict=True):
            while first < len(stops) and stops[first][1] <= start:
                first += 1
            opens, row = start, first
            while row < len(stops) and stops[row][0] < end:
                left.append((opens, stops[row][0]))
                opens = stops[row][1]
                row += 1
            left.append((opens, end))
        return WorkingTime.of(left)

    def _worked_before(self, t: int) -> int:
        row = int(self.starts.searchsorted(t, side="right")) - 1
        if row < 0:
            return 0
        return int(self.cumulative[row]) + min(t, int(self.ends[row])) - int(self.starts[row])


@lru_cache(maxsize=256)
def working_time(calendar: Calendar, from_on: date, until_on: date) -> WorkingTime:
    """All shifts that touch the local dates from `from_on` to the day before `until_on`.

    Shifts are whole: one that opened the evening before and still runs is in, and the last one may
    run on past its midnight. A zone that is not in the time zone data raises ZoneInfoNotFoundError
    (a malformed name, ValueError).
    """
    zone = ZoneInfo(calendar.zone)
    longest_min = max((s.closes_min for v in calendar.versions for s in v.shifts), default=0)
    opens_from_on = from_on - _DAY * max(0, (longest_min - 1) // _DAY_MIN)
    begins_min = start_of_day_min(calendar, from_on)
    windows = (
        (_utc_min(zone, on, shift.opens_min), _utc_min(zone, on, shift.closes_min))
        for on, shift in _openings(calendar, opens_from_on, until_on)
    )
    return WorkingTime.of(window for window in windows if window[1] > begins_min)


def workdays_between(calendar: Calendar, from_on: date, to_on: date) -> int:
    """Working days in (from, to], negative where `to_on` is the earlier one.

    Both dates lie in WORKDAYS_FROM_ON to WORKDAYS_TO_ON, else ValueError.
    """
    counts = _workday_counts(calendar)
    return counts[_day_number(to_on) + 1] - counts[_day_number(from_on) + 1]


def workday_counter(calendar: Calendar) -> Callable[[date], int]:
    """A function that counts working days from the first countable date to one, it included.

    For many dates of one calendar: the difference of two counts is `workdays_between`. A date that
    cannot be counted raises ValueError.
    """
    counts = _workday_counts(calendar)
    return lambda on: counts[_day_number(on) + 1]


def local_date(calendar: Calendar, t_min: int) -> date:
    """The date on the wall in the calendar's zone at a UTC minute."""
    return _local_date(calendar.zone, t_min)


def start_of_day_min(calendar: Calendar, on: date) -> int:
    """The UTC minute at which that local date begins."""
    return _start_of_day_min(calendar.zone, on)


def end_of_day_min(calendar: Calendar, on: date) -> int:
    """The UTC minute at which that local date is over: the first one of the next date."""
    return _start_of_day_min(calendar.zone, on + _DAY)


def _joined(windows: Iterable[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Windows in order, empty ones dropped, overlapping or touching ones joined."""
    ordered = sorted(window for window in windows if window[0] < window[1])
    if not ordered:
        return
    opens, closes = ordered[0]
    for start, end in ordered[1:]:
        if start <= closes:
            closes = max(closes, end)
        else:
            yield opens, closes
            opens, closes = start, end
    yield opens, closes


def _openings(calendar: Calendar, from_on: date, until_on: date) -> Iterator[tuple[date, Shift]]:
    """Each shift with each date it opens on, within [from_on, until_on)."""
    ends_on = [*(version.from_on for version in calendar.versions[1:]), until_on]
    never = _skipped_dates(calendar.zone)
    for version, next_on in zip(calendar.versions, ends_on, strict=False):
        first = max(from_on, version.from_on)
        for day in range((min(until_on, next_on) - first).days):
            on = first + _DAY * day
            if on not in version.days_off and on not in never:
                weekday = on.isoweekday()
                yield from ((on, shift) for shift in version.shifts if weekday in shift.weekdays)


def _utc_min(zone: ZoneInfo, on: date, wall_min: int) -> int:
    midnight = datetime(on.year, on.month, on.day, tzinfo=zone)
    return (midnight + _MINUTE * wall_min - _EPOCH) // _MINUTE


@lru_cache(maxsize=256)
def _skipped_dates(zone: str) -> frozenset[date]:
    """Dates for which working days are counted that a zone went over by moving the date line."""
    zone_info, skipped = ZoneInfo(zone), []
    for year in range(WORKDAYS_FROM_ON.year, WORKDAYS_TO_ON.year):
        offsets = (datetime(on, 1, 1, tzinfo=zone_info).utcoffset() for on in (year, year + 1))
        before, after = (offset or timedelta() for offset in offsets)
        if after - before > _DAY / 2:  # no change of clocks comes near it
            dates = (date(year, 1, 1) + _DAY * day for day in range(366))
            skipped += [
                on
                for on in dates
                if _utc_min(zone_info, on, 0) == _utc_min(zone_info, on + _DAY, 0)
            ]
    return frozenset(skipped)


# every minute of a plan may be asked for: with room for all, a worker would grow for an hour
@lru_cache(maxsize=1 << 12)
def _start_of_day_min(zone: str, on: date) -> int:
    return _utc_min(ZoneInfo(zone), on, 0)


@lru_cache(maxsize=1 << 12)
def _local_date(zone: str, t_min: int) -> date:
    return (_EPOCH + _MINUTE * t_min).astimezone(ZoneInfo(zone)).date()


def _day_number(on: date) -> int:
    if not WORKDAYS_FROM_ON <= on <= WORKDAYS_TO_ON:
        raise ValueError(
            f"working days are counted from {WORKDAYS_FROM_ON} to {WORKDAYS_TO_ON}, not on {on}"
        )
    return on.toordinal() - _FIRST_ORDINAL


@lru_cache(maxsize=64)
def _workday_counts(calendar: Calendar) -> list[int]:
    """Working days before each day since WORKDAYS_FROM_ON, one entry more than there are days."""
    days = _day_number(WORKDAYS_TO_ON) + 1
    weekday = (np.arange(days) + WORKDAYS_FROM_ON.isoweekday() - 1) % 7 + 1
    works = np.zeros(days, dtype=np.bool_)
    never = _skipped_dates(calendar.zone)
    for version in calendar.versions:
        since = max(0, version.from_on.toordinal() - _FIRST_ORDINAL)
        worked = {number for shift in version.shifts for number in shift.weekdays}
        works[since:] = np.isin(weekday[since:], sorted(worked))
        off = [on.toordinal() - _FIRST_ORDINAL for on in version.days_off | never]
        works[[day for day in off if since <= day < days]] = False
    counts: list[int] = np.concatenate(([0], np.cumsum(works))).tolist()
    return counts
