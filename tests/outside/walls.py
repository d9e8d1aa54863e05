"""The wall clock at every UTC minute of a span, and which of these minutes somebody works.

Every minute is looked up with zoneinfo, one by one; nothing is computed from wall time to UTC. When
clocks change is the IANA time zone database's to say; the dates of changes below are from it.
"""

from collections.abc import Iterable
from datetime import date, datetime
from functools import cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt

from service.vocabulary.calendar import Shift, WorkingTime
from tests.outside.holidays_kept import DAY, EPOCH_ON, EVERY_DAY, days

DAY_MIN = 24 * 60

Minutes = npt.NDArray[np.int64]
Worked = npt.NDArray[np.bool_]


class Span(NamedTuple):
    """Local dates [from_on, until_on) in a zone."""

    zone: str
    from_on: date
    until_on: date


def week(zone: str, year: int, month: int, day: int) -> Span:
    """Four days before a date and four after it."""
    on = date(year, month, day)
    return Span(zone, on - DAY * 4, on + DAY * 5)


SPANS = (
    week("Europe/Copenhagen", 2026, 3, 29),
    week("Europe/Copenhagen", 2026, 10, 25),
    week("Europe/Copenhagen", 2027, 12, 31),  # a year's end
    week("Europe/Copenhagen", 2028, 2, 29),
    week("America/Los_Angeles", 2026, 3, 8),
    week("America/Los_Angeles", 2026, 11, 1),
    week("Australia/Sydney", 2026, 4, 5),
    week("Australia/Sydney", 2026, 10, 4),
    week("Australia/Lord_Howe", 2026, 4, 5),  # by half an hour
    week("Australia/Lord_Howe", 2026, 10, 4),
    week("America/St_Johns", 2026, 3, 8),
    week("America/St_Johns", 2010, 11, 7),  # at 00:01, so that most of an hour of the 6th returns
    week("America/St_Johns", 2011, 3, 13),
    week("America/Sao_Paulo", 2017, 10, 15),  # midnight is skipped
    week("America/Sao_Paulo", 2018, 2, 18),
    week("Asia/Kathmandu", 1986, 1, 1),  # once, by a quarter of an hour
    week("Asia/Kathmandu", 2026, 7, 1),
    week("Pacific/Apia", 2011, 12, 30),  # a date that never was
)
APIA = SPANS[-1]
PAD_MIN = 3 * DAY_MIN


@cache
def walls(span: Span) -> tuple[int, Minutes]:
    """The first UTC minute, and the wall at it and at each after it.

    Walls are minutes since midnight of 1970-01-01 as if that had been on the wall; some days before
    the span and after it are in.
    """
    zone = ZoneInfo(span.zone)
    first = (span.from_on - EPOCH_ON).days * DAY_MIN - PAD_MIN
    last = (span.until_on - EPOCH_ON).days * DAY_MIN + PAD_MIN
    seen = (datetime.fromtimestamp(t * 60, zone) for t in range(first, last))
    ordinal = EPOCH_ON.toordinal()
    shown = [(at.toordinal() - ordinal) * DAY_MIN + at.hour * 60 + at.minute for at in seen]
    return first, np.array(shown, np.int64)


def opening_days(span: Span, shift: Shift, off: Iterable[date]) -> list[int]:
    """Numbers of the dates on which a shift opens, some days before the span and after it
    too; one that the wall never shows is none."""
    before, after = span.from_on - DAY * 3, span.until_on + DAY * 3
    around = days(before + DAY * day for day in range((after - before).days))
    mask = [day in shift.weekdays for day in EVERY_DAY]
    opens = np.is_busday(around, weekmask=mask, holidays=days(off))
    shown = set((walls(span)[1] // DAY_MIN).tolist())
    numbers: list[int] = around[opens].astype(np.int64).tolist()
    return [number for number in numbers if number in shown]


def on_the_wall(span: Span, shifts: Iterable[Shift], off: Iterable[date] = ()) -> Worked:
    """By minute, whether the wall shows a time within a shift."""
    _, wall = walls(span)
    worked = np.zeros(len(wall), np.bool_)
    for shift in shifts:
        for day in opening_days(span, shift, off):
            midnight = day * DAY_MIN
            worked |= (midnight + shift.opens_min <= wall) & (wall < midnight + shift.closes_min)
    return worked


def first_at(wall: Minutes, wanted: int) -> int:
    """The first minute with that on the wall; a skipped one as if the clock had not been changed.

    That is the calendar's stated rule.
    """
    at = np.flatnonzero(wall == wanted)
    if len(at):
        return int(at[0])
    before = int(np.flatnonzero(wall > wanted)[0]) - 1
    return before + wanted - int(wall[before])


def by_the_rule(span: Span, shifts: Iterable[Shift]) -> Worked:
    """By minute, whether it lies between the first opening and the first closing on the wall."""
    _, wall = walls(span)
    worked = np.zeros(len(wall), np.bool_)
    for shift in shifts:
        for day in opening_days(span, shift, ()):
            edges = [day * DAY_MIN + edge for edge in (shift.opens_min, shift.closes_min)]
            if wall[0] < edges[0] and edges[1] < wall[-1]:
                worked[first_at(wall, edges[0]) : first_at(wall, edges[1])] = True
    return worked


def minutes_of(span: Span, time: WorkingTime) -> Worked:
    """By minute of the span's walls, whether it is working time."""
    first, wall = walls(span)
    worked = np.zeros(len(wall), np.bool_)
    for start, end in zip(time.starts.tolist(), time.ends.tolist(), strict=True):
        worked[max(0, start - first) : max(0, end - first)] = True
    return worked


def inside(span: Span) -> slice:
    """The minutes from the first with one of the span's dates on the wall to the last."""
    _, wall = walls(span)
    begins, ends = ((on - EPOCH_ON).days * DAY_MIN for on in (span.from_on, span.until_on))
    here = np.flatnonzero((begins <= wall) & (wall < ends))
    return slice(int(here[0]), int(here[-1]) + 1)
