"""Shows and the routes that what is listed in them takes."""

from collections.abc import Generator
from datetime import date

from service.production.asking import (
    Reasons,
)
from service.production.nouns.rule import Rule
from service.production.refusal import Code, Reason
from service.production.route import Route, route_faults
from service.production.state import (
    STUDIO_CALENDAR,
    AnyState,
    Draft,
    LaidRoute,
    Show,
)
from service.production.wording import counted
from service.vocabulary.calendar import Calendar, local_date
from service.vocabulary.event import Event
from service.vocabulary.facts.office import ShowOpened
from service.vocabulary.facts.routes import RouteLaid
from service.vocabulary.footage import RATES
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.instants import US_PER_MIN, instant


def check_show_opened(draft: Draft, event: Event, fact: ShowOpened) -> Reasons:
    """A show opens once, and its time code has as many numbers a second as its frame rate."""
    if event.subject in draft.shows:
        yield Reason(Code.EXISTS, f"show {event.subject} is open already", "/subject")
    if fact.timecode is not None:
        numbers = RATES[fact.timecode].frames_per_second
        if numbers != fact.frames_per_second:
            yield Reason(
                Code.CONTRADICTION,
                f"time code {fact.timecode} numbers {numbers} frames a second, not "
                f"{fact.frames_per_second}; state {numbers} as frames_per_second",
                "/data/timecode",
            )


def apply_show_opened(draft: Draft, event: Event, fact: ShowOpened) -> None:
    """Add a show, that is a series."""
    draft.shows[event.subject] = Show(
        fact.title,
        fact.frames_per_second,
        timecode=fact.timecode,
        scene_codes=fact.scene_codes,
    )


def _say_show_opened(event: Event, fact: ShowOpened) -> str:
    return f"The show {event.subject} was opened."


def check_route_laid(draft: Draft, event: Event, fact: RouteLaid) -> Reasons:
    """A route needs its show, must hang together, and count as other routes do."""
    if event.subject not in draft.shows:
        yield Reason(Code.UNKNOWN, f"show {event.subject} is not open; open it first", "/subject")
    for fault in route_faults(fact):
        yield Reason(Code.CONTRADICTION, fault.detail, f"/data{fault.pointer}")
    for place, department in enumerate(fact.departments):
        unit = draft.units.get(department.department)
        if unit is not None and unit != department.unit:
            yield Reason(
                Code.CONTRADICTION,
                f"{department.department} counts in {unit} already; its crew cannot count in two "
                "units",
                f"/data/departments/{place}/unit",
            )


def apply_route_laid(draft: Draft, event: Event, fact: RouteLaid) -> None:
    """Add a route to a show, in force from its date."""
    route = Route(fact)
    show = draft.shows[event.subject]
    draft.shows[event.subject] = show._replace(
        routes=(*show.routes, LaidRoute(fact.from_on, route, event.time_us))
    )
    for department in fact.departments:
        draft.units[department.department] = department.unit


def _say_route_laid(event: Event, fact: RouteLaid) -> str:
    return f"A route of {counted(len(fact.departments), 'department')} was laid."


def check_route(draft: Draft, event: Event) -> Generator[Reason, None, Route | None]:
    """What keeps anything from being listed in the show that an event is about.

    Returns the route in force then, None where a reason was given.
    """
    subject = parse_subject(event.subject)
    show = subject.show if subject else event.subject
    if show not in draft.shows:
        yield Reason(Code.UNKNOWN, f"show {show} is not open; open it first", "/subject")
        return None
    route = route_in_force(draft, show, event.time_us)
    if route is None:
        yield Reason(
            Code.CONTRADICTION, f"no route of {show} is in force then; lay one first", "/subject"
        )
    return route


def route_in_force(state: AnyState, show: str, at_us: int) -> Route | None:
    """The route an item listed at an instant takes.

    Of those in force then, the one with the latest date (that on which it was laid, where it names
    none); of two with one date, the one laid last. Dates are the studio's, UTC's before it has a
    calendar.
    """
    calendar = state.calendars.get(STUDIO_CALENDAR)
    listed_on = _date_of(calendar, at_us)
    latest: LaidRoute | None = None
    latest_on = date.min
    for laid in state.shows[show].routes:
        if laid.from_on is None or laid.from_on <= listed_on:
            from_on = laid.from_on or _date_of(calendar, laid.laid_us)
            if from_on >= latest_on:
                latest, latest_on = laid, from_on
    return latest.route if latest else None


def _date_of(calendar: Calendar | None, at_us: int) -> date:
    return local_date(calendar, at_us // US_PER_MIN) if calendar else instant(at_us).date()


def show_and_route(draft: Draft, event: Event) -> tuple[str, Route]:
    """The show of what an event is about, and its route in force then.

    Raises LookupError where there is none: the log would then not be what was decided.
    """
    subject = parse_subject(event.subject)
    show = subject.show if subject else ""
    route = route_in_force(draft, show, event.time_us)
    if route is None:
        raise LookupError(f"no route for {event.subject}")
    return show, route


RULES = {
    "show.opened": Rule(check_show_opened, apply_show_opened, _say_show_opened),
    "route.laid": Rule(check_route_laid, apply_route_laid, _say_route_laid),
}
