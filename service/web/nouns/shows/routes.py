"""Shows and their routes."""

from flask import Blueprint, Response

from service.production.nouns.shows import route_in_force
from service.production.state import LaidRoute
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.shows import answers as shapes
from service.web.nouns.shows.answers import shown_show, shown_show_whole
from service.web.reading import Reading, answer, found, page_answer, read_now, read_page
from service.web.schemas.reading import PAGE, PAGE_HEADERS, READ, READ_HEADERS

shows = Blueprint("shows", __name__)


@shows.get("/shows")
@describe(
    "The shows",
    tag="shows",
    query=PAGE,
    answers={200: Answer("A page of shows.", {JSON: shapes.SHOWS}, PAGE_HEADERS)},
    problems=("not-yet",),
)
@require()
def list_shows() -> Response:
    """A page of shows, by code."""
    page = read_page(negotiation.read_args())
    state = page.reading.state
    return page_answer(
        page, sorted(state.shows), lambda code: shown_show(state, code, state.shows[code])
    )


@shows.get("/shows/<show>")
@describe(
    "One show: its episodes, and the route that items listed now would take",
    tag="shows",
    query=READ,
    answers={200: Answer("The show.", {JSON: shapes.SHOW}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def show_show(show: str) -> Response:
    """One show."""
    reading = read_now(negotiation.read_args())
    record = found(reading.state.shows.get(show), f"show {show}")
    laid = _laid(reading, show)
    return answer(reading, lambda: shown_show_whole(reading.state, show, record, laid))


def _laid(reading: Reading, show: str) -> LaidRoute | None:
    route = route_in_force(reading.state, show, reading.now_us)
    routes = reading.state.shows[show].routes
    return next((laid for laid in routes if laid.route is route), None)
