"""Retakes: the calls, their reach, their takes."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, g

from service.production.state import Retake, State
from service.vocabulary import cautions
from service.vocabulary.identifiers import parse_subject
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.notes.routes import at_or_beneath
from service.web.nouns.retakes import answers as shapes
from service.web.nouns.retakes import arguments as queries
from service.web.nouns.retakes.answers import shown_retake, shown_retake_whole
from service.web.reading import answer, found, page_answer, read_now, read_page
from service.web.recorded import texts_at
from service.web.schemas.reading import PAGE_HEADERS, READ, READ_HEADERS
from service.web.services import services
from service.web.visibility import Concern

retakes = Blueprint("retakes", __name__)


@retakes.get("/retakes")
@describe(
    "The retakes, the newest first",
    tag="retakes",
    query=queries.RETAKES_QUERY,
    cautions=(cautions.BLAME,),
    answers={200: Answer("A page of retakes.", {JSON: shapes.RETAKES}, PAGE_HEADERS)},
    problems=("not-yet",),
)
@require()
def list_retakes() -> Response:
    """A page of retakes."""
    args = negotiation.read_args()
    page = read_page(args)
    state = page.reading.state
    codes = [code for code, retake in state.retakes.items() if _wanted(retake, args)]
    codes.sort(key=lambda code: -state.retakes[code].position)
    return page_answer(page, codes, lambda code: shown_retake(state, code, state.retakes[code]))


def _wanted(retake: Retake, args: Mapping[str, Any]) -> bool:
    if args.get("standing") not in {None, retake.standing}:
        return False
    subject = parse_subject(retake.subject)
    if subject is None or args.get("show") not in {None, subject.show}:
        return False
    episode = args.get("episode")
    return episode is None or any(at_or_beneath(step.node[0], episode) for step in retake.reach)


@retakes.get("/retakes/<retake>")
@describe(
    "One retake: the call, its reach, its takes, and the scenes to look at",
    tag="retakes",
    query=READ,
    cautions=(cautions.BLAME, cautions.PEOPLE),
    dates=True,
    answers={200: Answer("The retake.", {JSON: shapes.RETAKE}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def show_retake(retake: str) -> Response:
    """One retake."""
    reading = read_now(negotiation.read_args())
    record = the_retake(reading.state, retake)
    concerns = {record.position: Concern("retake.called", frozenset({record.back_to}))}
    with services().engine.connect() as connection:
        texts = texts_at(connection, g.token, concerns, {"/data/why"})
    why = texts.get(record.position, {}).get("/data/why")
    return answer(
        reading,
        lambda: shown_retake_whole(reading.standings_known, retake, record, why),
        why,
    )


def the_retake(state: State, code: str) -> Retake:
    """The retake that an address names. Raises ProblemError (404)."""
    return found(state.retakes.get(code), f"retake {code}")
