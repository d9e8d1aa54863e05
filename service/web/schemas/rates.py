"""Rate cards as answers show them."""

from service.web.schemas.common import Shown
from service.web.schemas.reading import day, flag, quantity, several, with_position, word


class RateShown(Shown):
    """What one unit of a department's work costs."""

    department = word("The department.")
    unit = word("What its work is counted in; null: no route has it any more.", none=True)
    rate = word("The price of one unit, as decimal text.")


class CardShown(Shown):
    """A rate card."""

    from_on = day("Valid from this date until the next card's.", none=False)
    valid = flag("Whether it is the one valid now.")
    credit = quantity("The share of the price credited for work no longer needed and not begun.")
    rates = several(RateShown, "The prices.")


class RatesShown(Shown):
    """The rate cards of a show."""

    show = word("The show.")
    currency = word("ISO 4217; null: no card yet.", none=True)
    on = day("Today, in the studio's zone; null: no calendar yet.")
    valid_from_on = day("From when the card that is valid now is; null: none is.")
    cards = several(CardShown, "The cards, the earliest first.")


RATES = with_position(RatesShown, "RatesAnswer")
