"""How much work a visit is, in ten-thousandths of its department's unit, and what is left of it.

A call asks for a share of the base work of the item once that was handed off, and before that of
what had been made (`visits._made_e4`). What is left of the take taken back is added, up to the
whole. So whether a take was begun a moment before a call makes no difference.
"""

from collections.abc import Callable
from datetime import date, timedelta
from functools import lru_cache

from service.production.route import DAYS
from service.production.state import (
    STUDIO_CALENDAR,
    WORDS,
    AnyState,
    Crew,
    Element,
    Episode,
    Scene,
    Stoppage,
    item_of,
)
from service.production.takes import Take, Terms, take_work_e4
from service.production.touched import behind_scenes
from service.vocabulary.calendar import (
    Calendar,
    WorkingTime,
    end_of_day_min,
    local_date,
    start_of_day_min,
    working_time,
)
from service.vocabulary.footage import feet_e4
from service.vocabulary.instants import US_PER_MIN, instant
from service.vocabulary.quantities import ONE_E4, ceil_div

WORK_E4_MAX = 10**15
"""The most work a visit is taken to be, in ten-thousandths of a unit: a hundred thousand million
units, so that no product of it with the minutes of a day leaves 64 bits."""


Item = Scene | Element | Episode


def base_work_e4(state: AnyState, item: Item, department: str, at_us: int | None = None) -> int:
    """The whole work of an item at a department: stated or else counted, times its difficulty.

    At most WORK_E4_MAX. Counted of the item as it was at an instant, if one is given.
    """
    stated = _said_of(item.work, department)
    work = _counted_e4(state, item, department, at_us) if stated is None else stated
    difficulty = _said_of(item.difficulty, department)
    if difficulty is not None:
        work = ceil_div(work * difficulty, ONE_E4)
    return min(work, WORK_E4_MAX)


def _said_of(words: WORDS, department: str) -> int | None:
    for name, value in words:
        if name == department:
            return value
    return None


def _counted_e4(state: AnyState, item: Item, department: str, at_us: int | None) -> int:
    stands = item.route.departments[department]
    if stands.unit == "feet":
        return feet_e4(_counts(state, item, department, at_us)[0])
    if stands.unit == "drawings":
        return _counts(state, item, department, at_us)[1] * stands.drawings_part_e4
    if stands.unit == DAYS and isinstance(item, Element):
        approval = item.route.kinds[item.kind].approval
        return 0 if approval is None else approval.days * ONE_E4
    return ONE_E4


def _counts(state: AnyState, item: Item, department: str, at_us: int | None) -> tuple[int, int]:
    """Frames and drawings of an item, now or as they were at an instant."""
    if isinstance(item, Episode):
        frames, drawings = _counts_of_scenes(state, item, department, at_us)
        return (frames if item.frames is None else item.frames), drawings
    if at_us is not None and isinstance(item, Scene) and item.lengths:
        return item.length_at(at_us)[1:]
    return item.frames, item.drawings


def _counts_of_scenes(
    state: AnyState, episode: Episode, department: str, at_us: int | None
) -> tuple[int, int]:
    """Frames and drawings of the scenes that are, or were at an instant, in the picture.

    What stands before the scenes made all of them, also those that were listed only afterwards.
    """
    scenes = [state.scenes[name] for name in episode.scenes]
    if at_us is None or episode.recounted_us < at_us:
        drawings = sum(scene.drawings for scene in scenes if not scene.omitted)
        return episode.scene_frames, drawings
    behind = department in behind_scenes(episode.route)
    lengths = [
        scene.length_at(at_us)
        for scene in scenes
        if not scene.omitted_at(at_us) and (scene.listed_us < at_us or not behind)
    ]
    return sum(one.frames for one in lengths), sum(one.drawings for one in lengths)


def terms_for(state: AnyState, item: Item, department: str, at_us: int | None = None) -> Terms:
    """The department's terms for an item, as it is or as it was at an instant."""
    stands = item.route.departments[department]
    base = base_work_e4(state, item, department, at_us)
    return Terms(base, stands.least_e4, stands.redo == "whole")


def terms_of(state: AnyState, item: str, department: str) -> Callable[[int | None], Terms]:
    """The department's terms for the item of that subject, worked out when they are asked for.

    Its result raises LookupError for an item that is not in the record.
    """

    def terms(at_us: int | None) -> Terms:
        found = item_of(state, item)
        if found is None:
            raise LookupError(item)
        return terms_for(state, found, department, at_us)

    return terms


def terms_of_take(state: AnyState, item: Item, department: str, take: Take) -> Terms:
    """The terms by which a take is counted.

    Of one that ended, handed off or taken back, those of that instant: what it came to stays. An
    open one follows the item as it is.
    """
    return terms_for(state, item, department, take.ended_us if take.ended_us >= 0 else None)


def work_of_take_e4(state: AnyState, item: Item, department: str, take: Take) -> int:
    """The work that a take asks for in full, or that it came to once it ended."""
    return take_work_e4(take, terms_of_take(state, item, department, take))


def remaining_of(state: AnyState, department: str) -> Callable[[Take, Terms, int], int]:
    """A function that gives the work left of a take on a desk at an instant."""

    def remaining(take: Take, terms: Terms, at_us: int) -> int:
        work = take_work_e4(take, terms)
        start_min, at_min = take.started_us // US_PER_MIN, at_us // US_PER_MIN
        crew = crew_at(state, department, start_min)
        if crew is None or work == 0:
            return work
        duration = max(1, ceil_div(work * crew.day_min, crew.rate_e4))
        worked = elapsed_min(state, department, start_min, at_min)
        # never nothing: what is on a desk is not finished, as the plan takes it too
        return ceil_div(work * max(1, duration - worked), duration)

    return remaining


def calendar_of(state: AnyState, department: str) -> Calendar | None:
    """The hours that a department keeps: the studio's until its own begin."""
    studio, own = state.calendars.get(STUDIO_CALENDAR), state.calendars.get(department)
    if studio is None or own is None:
        return own or studio
    return _until_own(studio, own)


@lru_cache(maxsize=256)
def _until_own(studio: Calendar, own: Calendar) -> Calendar:
    begins_on = own.versions[0].from_on
    before = [version for version in studio.versions if version.from_on < begins_on]
    return own._replace(versions=(*before, *own.versions))


def crew_at(state: AnyState, department: str, at_min: int) -> Crew | None:
    """The crew in force at a minute; None before the first."""
    calendar = state.calendars.get(STUDIO_CALENDAR)
    found = None
    if calendar is not None:
        for crew in state.crews.get(department, ()):
            if start_of_day_min(calendar, crew.from_on) <= at_min:
                found = crew
    return found


def elapsed_min(state: AnyState, department: str, from_min: int, until_min: int) -> int:
    """Working minutes of a department in [from, until), stoppages left out."""
    calendar = calendar_of(state, department)
    if calendar is None or until_min <= from_min:
        return 0
    from_on = instant(from_min * US_PER_MIN).date()
    until_on = instant(until_min * US_PER_MIN).date()
    time = _time_around(calendar, from_on.year, until_on.year)
    stopped = [
        span
        for span in stopped_spans(state.stoppages.get(department, ()), until_min, calendar)
        if span[1] > from_min and span[0] < until_min
    ]
    worked = time.minutes_between(from_min, until_min)
    for start, end in stopped:
        worked -= time.minutes_between(max(start, from_min), min(end, until_min))
    return max(0, worked)


@lru_cache(maxsize=256)
def _time_around(calendar: Calendar, year: int, year_until: int) -> WorkingTime:
    # a few days more on both sides, for shifts that cross midnight and zones far from UTC
    return working_time(
        calendar, date(year, 1, 1) - timedelta(days=3), date(year_until, 12, 31) + timedelta(days=3)
    )


def stopped_spans(
    stoppages: tuple[Stoppage, ...], now_min: int, calendar: Calendar
) -> list[tuple[int, int]]:
    """Spans in UTC minutes in which a department does not work, as known at `now_min`.

    One that still lasts ends when `supposed_end_min` says.
    """
    spans = []
    for stoppage in stoppages:
        start = stoppage.stopped_us // US_PER_MIN
        if not stoppage.lasts:
            end = stoppage.resumed_us // US_PER_MIN
        else:
            end = supposed_end_min(stoppage, now_min, calendar)
        if end > start:
            spans.append((start, end))
    return spans


def supposed_end_min(stoppage: Stoppage, now_min: int, calendar: Calendar) -> int:
    """The UTC minute at which a plan made at `now_min` takes a stoppage that lasts to end.

    When it is expected to, and once that is over in the next minute. Where nobody knows, at the
    end of the day, in the calendar's zone.
    """
    if stoppage.expected_end_us < 0:
        return end_of_day_min(calendar, local_date(calendar, now_min))
    return max(stoppage.expected_end_us // US_PER_MIN, now_min + 1)
