"""Rate cards as JSON shows them."""

from datetime import date
from typing import Annotated

from service.production.state import RateCard, State
from service.vocabulary.money import money_text
from service.web.answers import Day, Quantity, Shown, answer_of, note
from service.web.nouns.values import shown_e4, shown_on


class RateShown(Shown):
    """What one unit of a department's work costs."""

    department: Annotated[str, note("The department.")]
    unit: Annotated[
        str | None, note("What its work is counted in; null: no route has it any more.")
    ]
    rate: Annotated[str, note("The price of one unit, as decimal text.")]


class CardShown(Shown):
    """A rate card."""

    from_on: Annotated[Day, note("Valid from this date until the next card's.")]
    valid: Annotated[bool, note("Whether it is the one valid now.")]
    credit: Annotated[
        Quantity, note("The share of the price credited for work no longer needed and not begun.")
    ]
    rates: Annotated[list[RateShown], note("The prices.")]


class RatesShown(Shown):
    """The rate cards of a show."""

    show: Annotated[str, note("The show.")]
    currency: Annotated[str | None, note("ISO 4217; null: no card yet.")]
    on: Annotated[Day | None, note("Today, in the studio's zone; null: no calendar yet.")]
    valid_from_on: Annotated[
        Day | None, note("From when the card that is valid now is; null: none is.")
    ]
    cards: Annotated[list[CardShown], note("The cards, the earliest first.")]


def shown_rates(state: State, show: str, on: date | None, valid: RateCard | None) -> RatesShown:
    """A show's cards in order of date, and the one valid on the studio's date of now."""
    cards = state.rate_cards.get(show, ())
    return RatesShown(
        show=show,
        currency=cards[0].currency if cards else None,
        on=shown_on(on),
        valid_from_on=None if valid is None else shown_on(valid.from_on),
        cards=[_shown_card(state, card, card is valid) for card in cards],
    )


def _shown_card(state: State, card: RateCard, valid: bool) -> CardShown:
    return CardShown(
        from_on=shown_on(card.from_on),
        valid=valid,
        credit=shown_e4(card.credit_e4),
        rates=[
            RateShown(
                department=department,
                unit=state.units.get(department),
                rate=money_text(rate),
            )
            for department, rate in card.rates
        ],
    )


RATES = answer_of(RatesShown, "RatesAnswer")
