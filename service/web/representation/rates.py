"""Rate cards as JSON shows them."""

from datetime import date

from service.production.state import RateCard, State
from service.vocabulary.money import money_text
from service.web.representation.values import Shown, shown_e4, shown_on


def shown_rates(state: State, show: str, on: date | None, valid: RateCard | None) -> Shown:
    """A show's cards in order of date, and the one valid on the studio's date of now."""
    cards = state.rate_cards.get(show, ())
    return {
        "show": show,
        "currency": cards[0].currency if cards else None,
        "on": shown_on(on),
        "valid_from_on": None if valid is None else shown_on(valid.from_on),
        "cards": [_shown_card(state, card, card is valid) for card in cards],
    }


def _shown_card(state: State, card: RateCard, valid: bool) -> Shown:
    return {
        "from_on": shown_on(card.from_on),
        "valid": valid,
        "credit": shown_e4(card.credit_e4),
        "rates": [
            {
                "department": department,
                "unit": state.units.get(department),
                "rate": money_text(rate),
            }
            for department, rate in card.rates
        ],
    }
