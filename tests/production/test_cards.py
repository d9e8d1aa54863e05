"""Which rate card is valid when."""

from datetime import date

from service.production.cards import card_valid, studio_date
from service.production.state import EMPTY
from service.vocabulary.instants import parse_instant
from tests.telling import studio


def test_a_date_is_the_studios() -> None:
    state = studio().state
    assert studio_date(state, parse_instant("2031-05-31T22:59:59Z")) == date(2031, 5, 31)
    # summer time in Lisbon: an hour ahead of UTC
    assert studio_date(state, parse_instant("2031-05-31T23:00:00Z")) == date(2031, 6, 1)
    assert studio_date(EMPTY, 0) is None


def test_a_card_is_valid_from_its_date_until_the_next() -> None:
    story = studio()
    for from_on, rate in (("2031-06-01", "41"), ("2031-01-01", "40")):
        card = {"currency": "EUR", "from_on": from_on, "rates": {"layout": rate}}
        story.tell("rate.set", "KESTREL", card)
    dates = (date(2030, 12, 31), date(2031, 1, 1), date(2031, 5, 31), date(2031, 6, 1))
    cards = [card_valid(story.state, "KESTREL", on) for on in dates]
    assert [card and str(card.rate("layout")) for card in cards] == [None, "40", "40", "41"]
    assert card_valid(story.state, "ASTER", date(2031, 6, 1)) is None
    assert card_valid(story.state, "KESTREL", None) is None
