"""What rate cards change."""

from service.production.cards import card_valid
from service.production.evolve.marking import add_mark
from service.production.marks import RATES_LEFT_OUT
from service.production.records import RateCard
from service.production.state import Draft
from service.vocabulary.event import Event
from service.vocabulary.facts import rates as facts


def rate_set(draft: Draft, event: Event, fact: facts.RateSet) -> None:
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
