"""Rate cards."""

from service.production.asking import Reasons, the_department
from service.production.cards import card_valid
from service.production.marking import add_mark
from service.production.marks import RATES_LEFT_OUT
from service.production.nouns.rule import Rule
from service.production.records import RateCard
from service.production.refusal import Code, Reason
from service.production.state import STUDIO_CALENDAR, Draft
from service.vocabulary.event import Event
from service.vocabulary.facts.rates import RateSet
from service.vocabulary.money import is_currency


def check_rate_set(draft: Draft, event: Event, fact: RateSet) -> Reasons:
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


def apply_rate_set(draft: Draft, event: Event, fact: RateSet) -> None:
    """A show's card from a date; a later one of the same date takes its place.

    A card holds whole: what it leaves out has no rate from its date on.
    """
    card = RateCard(fact.from_on, fact.currency, fact.rates, fact.credit_e4)
    before = card_valid(draft, event.subject, fact.from_on)
    if before is not None and not dict(before.rates).keys() <= dict(card.rates).keys():
        add_mark(draft, event.position, RATES_LEFT_OUT)
    others = [
        other for other in draft.rate_cards.get(event.subject, ()) if other.from_on != fact.from_on
    ]
    cards = sorted([*others, card], key=lambda other: other.from_on)
    draft.rate_cards[event.subject] = tuple(cards)


def _say_rate_set(event: Event, fact: RateSet) -> str:
    return f"A rate card in {fact.currency} was set from {fact.from_on}."


RULES = {
    "rate.set": Rule(check_rate_set, apply_rate_set, _say_rate_set),
}
