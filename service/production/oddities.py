"""Dates and codes that are legal and look like a mistake."""

from datetime import date

from service.production.marking import add_mark
from service.production.marks import LOOKS_LIKE_ANOTHER
from service.production.state import STUDIO_CALENDAR, AnyState, Draft
from service.vocabulary.calendar import local_date
from service.vocabulary.event import Event
from service.vocabulary.identifiers import alike, parse_subject
from service.vocabulary.instants import US_PER_MIN


def is_past(state: AnyState, on: date, event: Event) -> bool:
    """Whether a date was over when an event that says it was recorded, however that is dated.

    In the studio's zone; False without a calendar.
    """
    calendar = state.calendars.get(STUDIO_CALENDAR)
    return calendar is not None and on < local_date(calendar, event.recorded_us // US_PER_MIN)


def mark_alike(draft: Draft, event: Event) -> None:
    """Flag the code of a new scene, element or episode that is easily confused with another's.

    Raises LookupError for a subject that is none.
    """
    subject = parse_subject(event.subject)
    if subject is None:
        raise LookupError(event.subject)
    key = event.subject.removesuffix(subject.last) + alike(subject.last)
    if key in draft.codes:
        add_mark(draft, event.position, LOOKS_LIKE_ANOTHER)
    else:
        draft.codes[key] = event.subject
