"""The working hours, crews and stoppages of the studio and its departments."""

from functools import cache
from zoneinfo import available_timezones

from service.production.asking import (
    Reasons,
    the_department,
)
from service.production.marking import add_mark
from service.production.marks import END_UNKNOWN
from service.production.nouns.rule import Rule
from service.production.refusal import Code, Reason
from service.production.state import (
    STUDIO_CALENDAR,
    Crew,
    Draft,
    Stoppage,
)
from service.production.wording import counted
from service.vocabulary.calendar import Calendar, CalendarVersion, Shift
from service.vocabulary.event import Event
from service.vocabulary.facts.desks import DepartmentResumed, DepartmentStopped
from service.vocabulary.facts.office import WEEKDAYS, CalendarSet, CrewSet
from service.vocabulary.instants import NOT_YET_US, format_instant

MIN_PER_DAY = 24 * 60


def check_calendar_set(draft: Draft, event: Event, fact: CalendarSet) -> Reasons:
    """The studio's calendar comes first and fixes the zone."""
    studio = draft.calendars.get(STUDIO_CALENDAR)
    if fact.department is not None:
        yield from the_department(draft, fact.department)
        if studio is None:
            yield Reason(
                Code.CONTRADICTION,
                "set the studio's calendar before a department's",
                "/data/department",
            )
        if fact.zone is not None:
            yield Reason(
                Code.CONTRADICTION, "the zone is the studio's; leave it out here", "/data/zone"
            )
        return
    if studio is None and fact.zone is None:
        yield Reason(
            Code.CONTRADICTION, "the studio's first calendar must name its zone", "/data/zone"
        )
    if fact.zone is not None and fact.zone not in _zones():
        yield Reason(Code.UNKNOWN, f"{fact.zone} is not an IANA time zone", "/data/zone")
    elif studio is not None and fact.zone is not None and fact.zone != studio.zone:
        yield Reason(
            Code.CONTRADICTION,
            f"the studio's zone is {studio.zone} and does not change",
            "/data/zone",
        )


def apply_calendar_set(draft: Draft, event: Event, fact: CalendarSet) -> None:
    """Working hours from a date; of the studio, or of one department."""
    owner = fact.department or STUDIO_CALENDAR
    calendar = draft.calendars.get(owner)
    studio = draft.calendars.get(STUDIO_CALENDAR)
    zone = fact.zone or (studio.zone if studio else "UTC")
    shifts = tuple(
        Shift(
            tuple(WEEKDAYS.index(day) + 1 for day in hours.days),
            hours.opens_min,
            hours.closes_min + (MIN_PER_DAY if hours.closes_min <= hours.opens_min else 0),
        )
        for hours in fact.shifts
    )
    version = CalendarVersion(fact.from_on, shifts, frozenset(fact.days_off))
    others = () if calendar is None else calendar.versions
    versions = [other for other in others if other.from_on != version.from_on]
    draft.calendars[owner] = Calendar(
        zone, tuple(sorted([*versions, version], key=lambda other: other.from_on))
    )


def _say_calendar_set(event: Event, fact: CalendarSet) -> str:
    return f"Working hours of {fact.department or 'the studio'} were set from {fact.from_on}."


def check_crew_set(draft: Draft, event: Event, fact: CrewSet) -> Reasons:
    """A crew is of a department that some route has, by the studio's dates."""
    yield from the_department(draft, fact.department)
    if STUDIO_CALENDAR not in draft.calendars:
        yield Reason(Code.CONTRADICTION, "set the studio's calendar first", "/data/from_on")


def apply_crew_set(draft: Draft, event: Event, fact: CrewSet) -> None:
    """A department's crew from a date."""
    crew = Crew(
        fact.from_on, fact.artists, fact.units_per_artist_day_e4, fact.minutes_per_artist_day
    )
    others = [
        other for other in draft.crews.get(fact.department, ()) if other.from_on != crew.from_on
    ]
    draft.crews[fact.department] = tuple(sorted([*others, crew], key=lambda other: other.from_on))


def _say_crew_set(event: Event, fact: CrewSet) -> str:
    return f"{fact.department} has {counted(fact.artists, 'artist')} from {fact.from_on}."


def check_department_stopped(draft: Draft, event: Event, fact: DepartmentStopped) -> Reasons:
    """A working department may stop; of one that is stopped, another end may be known, or none."""
    yield from the_department(draft, fact.department)
    stoppages = draft.stoppages.get(fact.department, ())
    if stoppages and stoppages[-1].lasts:
        end_us = NOT_YET_US if fact.expected_end_at_us is None else fact.expected_end_at_us
        if end_us == stoppages[-1].expected_end_us:
            until = (
                "nobody knows until when"
                if end_us == NOT_YET_US
                else f"until {format_instant(end_us)}"
            )
            yield Reason(
                Code.CONTRADICTION,
                f"{fact.department} is stopped already, {until}; say another expected_end_at, "
                "leave it out if nobody knows it any more, or record department.resumed",
                "/data/department",
            )
        elif event.time_us < stoppages[-1].stopped_us:
            yield Reason(Code.TIME_ORDER, f"{fact.department} stopped only after that", "/time")
    elif stoppages and event.time_us < stoppages[-1].resumed_us:
        yield Reason(Code.TIME_ORDER, f"{fact.department} was stopped then already", "/time")
    if fact.expected_end_at_us is not None and fact.expected_end_at_us <= event.time_us:
        yield Reason(
            Code.CONTRADICTION,
            "a stoppage is expected to end after it began; leave the end out if it is not known",
            "/data/expected_end_at",
        )


def apply_department_stopped(draft: Draft, event: Event, fact: DepartmentStopped) -> None:
    """A department does not work until it resumes; stopped already, its end becomes another."""
    end_us = NOT_YET_US if fact.expected_end_at_us is None else fact.expected_end_at_us
    if end_us == NOT_YET_US:
        add_mark(draft, event.position, END_UNKNOWN)
    earlier = draft.stoppages.get(fact.department, ())
    if earlier and earlier[-1].lasts:
        stoppages = (*earlier[:-1], earlier[-1]._replace(expected_end_us=end_us))
    else:
        stoppages = (*earlier, Stoppage(event.position, event.time_us, end_us, NOT_YET_US))
    draft.stoppages[fact.department] = stoppages


def _say_department_stopped(_: Event, fact: DepartmentStopped) -> str:
    if fact.expected_end_at_us is None:
        return f"{fact.department} stopped work; nobody knows yet when it will go on."
    until = format_instant(fact.expected_end_at_us)
    return f"{fact.department} stopped work; it is expected to go on at {until}."


def check_department_resumed(draft: Draft, event: Event, fact: DepartmentResumed) -> Reasons:
    """A stopped department may go on."""
    stoppages = draft.stoppages.get(fact.department, ())
    if not stoppages or not stoppages[-1].lasts:
        yield Reason(Code.CONTRADICTION, f"{fact.department} is not stopped", "/data/department")
    elif event.time_us < stoppages[-1].stopped_us:
        yield Reason(Code.TIME_ORDER, "it cannot go on before it stopped", "/time")


def apply_department_resumed(draft: Draft, event: Event, fact: DepartmentResumed) -> None:
    """The stoppage that lasts is over."""
    *before, last = draft.stoppages[fact.department]
    draft.stoppages[fact.department] = (*before, last._replace(resumed_us=event.time_us))


def _say_department_resumed(event: Event, fact: DepartmentResumed) -> str:
    return f"{fact.department} went on working."


@cache
def _zones() -> frozenset[str]:
    # the time zone data is a part of the release, and listing it is slow
    return frozenset(available_timezones())


RULES = {
    "calendar.set": Rule(check_calendar_set, apply_calendar_set, _say_calendar_set),
    "crew.set": Rule(check_crew_set, apply_crew_set, _say_crew_set),
    "department.stopped": Rule(
        check_department_stopped, apply_department_stopped, _say_department_stopped
    ),
    "department.resumed": Rule(
        check_department_resumed, apply_department_resumed, _say_department_resumed
    ),
}
