"""Rate cards: what a show's work costs."""

from flask import Blueprint, Response

from service.production.cards import card_valid, studio_date
from service.vocabulary import cautions
from service.vocabulary.facts.base import SEES_MONEY
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.rates.answers import RATES, shown_rates
from service.web.reading import answer, found, read_now
from service.web.schemas.reading import READ, READ_HEADERS

rates = Blueprint("rates", __name__)


@rates.get("/shows/<show>/rates")
@describe(
    "The rate cards of a show, and which is valid now",
    tag="shows",
    details="Money is decimal text. A card is valid from its date, in the studio's zone, until "
    "the next one's.",
    query=READ,
    cautions=(cautions.TAXES,),
    answers={200: Answer("The cards.", {JSON: RATES}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require(*SEES_MONEY)
def show_rates(show: str) -> Response:
    """The cards, the earliest first."""
    reading = read_now(negotiation.read_args())
    found(reading.state.shows.get(show), f"show {show}")
    on = studio_date(reading.state, reading.now_us)
    valid = card_valid(reading.state, show, on)
    return answer(reading, lambda: shown_rates(reading.state, show, on, valid))
