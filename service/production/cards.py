"""Which rate card is valid when."""

from datetime import date

from service.production.state import STUDIO_CALENDAR, AnyState, RateCard
from service.vocabulary.calendar import local_date
from service.vocabulary.instants import US_PER_MIN


def studio_date(state: AnyState, at_us: int) -> date | None:
    """The date of an instant in the studio's zone; None before its calendar is set."""
    calendar = state.calendars.get(STUDIO_CALENDAR)
    return None if calendar is None else local_date(calendar, at_us // US_PER_MIN)


def card_valid(state: AnyState, show: str, on: date | None) -> RateCard | None:
    """The show's rate card valid on a date: the last that begins by then; None before the first."""
    valid = None
    if on is not None:
        for card in state.rate_cards.get(show, ()):
            if card.from_on <= on:
                valid = card
    return valid
