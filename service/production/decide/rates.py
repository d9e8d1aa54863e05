"""What may be said of rates."""

from service.production.decide.asking import Reasons, the_department
from service.production.refusal import Code, Reason
from service.production.state import STUDIO_CALENDAR, Draft
from service.vocabulary.event import Event
from service.vocabulary.facts import rates as facts
from service.vocabulary.money import is_currency


def rate_set(draft: Draft, event: Event, fact: facts.RateSet) -> Reasons:
    """A card prices departments that some route has, in the one currency of its show."""
    if event.subject not in draft.shows:
        yield Reason(Code.UNKNOWN, f"show {event.subject} is not open; open it first", "/subject")
    if STUDIO_CALENDAR not in draft.calendars:
        yield Reason(Code.CONTRADICTION, "set the studio's calendar first", "/data/from_on")
    for department, _ in fact.rates:
        yield from the_department(draft, department, f"/data/rates/{department}")
    if not is_currency(fact.currency):
        yield Reason(
            Code.UNKNOWN,
            f"{fact.currency} is not a currency of ISO 4217 with a minor unit",
            "/data/currency",
        )
    cards = draft.rate_cards.get(event.subject, ())
    if cards and cards[0].currency != fact.currency:
        yield Reason(
            Code.CONTRADICTION,
            f"{event.subject} is priced in {cards[0].currency}, and orders with it; keep it",
            "/data/currency",
        )
