"""What recorded events did: the log with them and the log just before them."""

from flask import Blueprint, Response, g

from service.log.read import bodies
from service.planning.plan.schedule import RULES_VERSION
from service.vocabulary.event import Event, read_event
from service.vocabulary.instants import US_PER_MIN
from service.vocabulary.zones import ZONE_DATA_VERSION
from service.web import negotiation
from service.web.access import require
from service.web.answers import encoded
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.impacts.answers import ImpactShown, shown_impact
from service.web.nouns.retakes.routes import the_retake
from service.web.problems import ProblemError
from service.web.reading import Reading, answer_as, read_now
from service.web.schemas.reading import READ, READ_HEADERS
from service.web.services import services

impacts = Blueprint("impacts", __name__)


@impacts.get("/retakes/<retake>/impact")
@describe(
    "The impact of a retake as it was called",
    tag="retakes",
    details="Both plans are made at the call's `recordedat`, which is `now`; `position` is the "
    "call's.",
    query=READ,
    dates=True,
    answers={200: Answer("The impact.", {JSON: ImpactShown}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
    lane="costly",
)
@require()
def show_impact_of_retake(retake: str) -> Response:
    """The impact of the recorded call."""
    reading = read_now(negotiation.read_args())
    return _impact_answer(reading, the_retake(reading.state, retake).position)


@impacts.get("/events/<int:position>/impact")
@describe(
    "The impact of a recorded event",
    tag="events",
    details="Both plans are made at the event's `recordedat`, which is `now`.",
    query=READ,
    dates=True,
    answers={200: Answer("The impact.", {JSON: ImpactShown}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
    lane="costly",
)
@require()
def show_impact_of_event(position: int) -> Response:
    """The impact of any recorded event."""
    return _impact_answer(read_now(negotiation.read_args()), position)


def _impact_answer(reading: Reading, position: int) -> Response:
    event = event_at(reading, position)
    # what an event did never changes, so the tag is the event's
    then = reading.at(reading.state, position, event.recorded_us // US_PER_MIN)
    return answer_as(
        then,
        JSON,
        lambda: encoded(
            shown_impact(
                reading.studio.impact_of(event), position, RULES_VERSION, ZONE_DATA_VERSION
            )
        ),
    )


def event_at(reading: Reading, position: int) -> Event:
    """The event recorded at a position. Raises ProblemError (404)."""
    rows: list[tuple[int, bytes]] = []
    if 0 < position <= reading.view.position:
        with services().engine.connect() as connection:
            rows = bodies(connection, g.token.studio, position - 1, position)
    if not rows:
        raise ProblemError("not-found", f"The log has no event at position {position}.")
    return read_event(rows[0][1])
