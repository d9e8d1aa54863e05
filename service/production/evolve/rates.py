"""What rate cards change."""

from service.production.records import RateCard
from service.production.state import Draft
from service.vocabulary.event import Event
from service.vocabulary.facts import rates as facts


def rate_set(draft: Draft, event: Event, fact: facts.RateSet) -> None:
    """A show's card from a date; a later one of the same date takes its place."""
    card = RateCard(fact.from_on, fact.currency, fact.rates, fact.credit_e4)
    others = [
        other for other in draft.rate_cards.get(event.subject, ()) if other.from_on != fact.from_on
    ]
    cards = sorted([*others, card], key=lambda other: other.from_on)
    draft.rate_cards[event.subject] = tuple(cards)
