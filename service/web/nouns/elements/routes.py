"""The elements of shows, and where their approval stands."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response

from service.production.approval import approval_standing
from service.production.state import State
from service.vocabulary import cautions
from service.vocabulary.identifiers import natural_order
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.elements import answers as shapes
from service.web.nouns.elements import arguments as queries
from service.web.nouns.elements.answers import shown_element
from service.web.reading import answer, found, page_answer, read_now, read_page
from service.web.schemas.reading import PAGE_HEADERS, READ, READ_HEADERS

elements = Blueprint("elements", __name__)


@elements.get("/shows/<show>/elements")
@describe(
    "The elements of a show, with their visits and where their approval stands",
    tag="shows",
    details="Open approvals are those asked about: `approval=asked`; those that somebody must ask "
    "about, `approval=to_ask`.",
    query=queries.ELEMENTS_QUERY,
    cautions=(cautions.PEOPLE,),
    dates=True,
    answers={200: Answer("A page of elements.", {JSON: shapes.ELEMENTS}, PAGE_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def list_elements(show: str) -> Response:
    """A page of elements, in their order."""
    args = negotiation.read_args()
    page = read_page(args)
    state, standings = page.reading.state, page.reading.standings
    record = found(state.shows.get(show), f"show {show}")
    wanted = (name for name in record.elements if _wanted(state, name, args))
    names = sorted(wanted, key=lambda name: (natural_order(name), name))
    return page_answer(
        page, names, lambda name: shown_element(standings, name, state.elements[name])
    )


def _wanted(state: State, name: str, args: Mapping[str, Any]) -> bool:
    element = state.elements[name]
    if args.get("kind") not in {None, element.kind}:
        return False
    return "approval" not in args or approval_standing(state, name, element) in args["approval"]


@elements.get("/shows/<show>/elements/<element>")
@describe(
    "One element: its visits, its users, its approval, its projected finish",
    tag="shows",
    query=READ,
    cautions=(cautions.PEOPLE,),
    dates=True,
    answers={200: Answer("The element.", {JSON: shapes.ELEMENT}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def show_element(show: str, element: str) -> Response:
    """One element, by its name within the show."""
    reading = read_now(negotiation.read_args())
    name = f"{show}:{element}"
    record = found(reading.state.elements.get(name), f"element {name}")
    return answer(reading, lambda: shown_element(reading.standings, name, record))
