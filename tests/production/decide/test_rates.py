"""What may be recorded of rates, and what cards a show then has."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.production.refusal import Code
from tests.telling import Story, studio

CARD: dict[str, Any] = {
    "currency": "EUR",
    "from_on": "2031-01-01",
    "rates": {"layout": "40", "animation": "12.50"},
}


def card(**more: Any) -> dict[str, Any]:
    return {**CARD, **more}


def test_a_card_follows_another_from_its_date() -> None:
    story = studio()
    story.tell("rate.set", "KESTREL", card(from_on="2031-06-01", credit=0.8))
    story.tell("rate.set", "KESTREL", CARD)
    cards = story.state.rate_cards["KESTREL"]
    assert [(one.from_on, one.credit_e4) for one in cards] == [
        (date(2031, 1, 1), 10_000),
        (date(2031, 6, 1), 8_000),
    ]
    assert cards[0].rate("animation") == Decimal("12.5")
    assert cards[0].rate("paint") is None


def test_a_card_of_the_same_date_takes_the_place_of_the_one_before() -> None:
    story = studio()
    story.tell("rate.set", "KESTREL", CARD)
    story.tell("rate.set", "KESTREL", card(rates={"layout": "41"}))
    (only,) = story.state.rate_cards["KESTREL"]
    assert only.rates == (("layout", Decimal(41)),)


@pytest.mark.parametrize(
    ("more", "code", "member"),
    [
        ({"rates": {"welding": "1"}}, Code.UNKNOWN, "/data/rates/welding"),
        ({"currency": "XAU"}, Code.UNKNOWN, "/data/currency"),
        ({"currency": "ABC"}, Code.UNKNOWN, "/data/currency"),
    ],
)
def test_what_a_card_cannot_say(more: dict[str, Any], code: Code, member: str) -> None:
    reasons = studio().refused("rate.set", "KESTREL", card(**more))
    assert [(reason.code, reason.member) for reason in reasons] == [(code, member)]


def test_a_show_keeps_its_currency() -> None:
    story = studio()
    story.tell("rate.set", "KESTREL", CARD)
    (reason,) = story.refused("rate.set", "KESTREL", card(currency="USD", from_on="2032-01-01"))
    assert (reason.code, reason.member) == (Code.CONTRADICTION, "/data/currency")


def test_a_card_needs_its_show_and_the_studios_dates() -> None:
    assert Story().codes("rate.set", "KESTREL", card(rates={})) == {
        Code.UNKNOWN,
        Code.CONTRADICTION,
    }


def test_a_card_that_leaves_a_department_out_is_marked() -> None:
    story = studio()
    assert story.marks(story.tell("rate.set", "KESTREL", CARD)) == ()
    fewer = {"layout": "41"}
    later = story.tell("rate.set", "KESTREL", card(from_on="2031-06-01", rates=fewer))
    assert story.marks(later) == ("rates-left-out",)
    instead = story.tell("rate.set", "KESTREL", card(rates=fewer))
    assert story.marks(instead) == ("rates-left-out",), "in the place of one of the same date"
    more = card(from_on="2031-07-01", rates=fewer | {"paint": "9"})
    assert story.marks(story.tell("rate.set", "KESTREL", more)) == ()
    earlier = card(from_on="2030-01-01", rates={"paint": "9"})
    assert story.marks(story.tell("rate.set", "KESTREL", earlier)) == (), "no card was before it"
