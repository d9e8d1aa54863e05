"""The studio's clock: read by everybody, moved forward by the office where it is simulated."""

from datetime import UTC, datetime
from typing import Annotated

from flask import Blueprint, Response, g

from service.log import append, studios
from service.vocabulary.facts import Role
from service.vocabulary.instants import format_instant, instant_us, parse_instant
from service.web import negotiation
from service.web.access import require
from service.web.answers import Instant, Shown, encoded, note, one_of
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.problems import ProblemError
from service.web.schemas.events import schema_errors
from service.web.schemas.fields import ClosedSchema, moment_field
from service.web.services import services

clock = Blueprint("clock", __name__)


class ClockShown(Shown):
    """The studio's clock."""

    kind: Annotated[str, one_of(("real", "simulated"), "Fixed when the studio was made.")]
    now: Annotated[Instant, note("Where it stands.")]


class ClockMove(ClosedSchema):
    """Where a simulated clock is to stand."""

    now = moment_field(
        required=True,
        metadata={
            "description": "Not before where the clock stands, nor more than "
            f"{studios.CLOCK_STEP_DAYS_MAX} days ahead of it: go further in steps."
        },
    )


_MOVE = ClockMove()


@clock.get("/clock")
@describe(
    "The studio's clock", tag="clock", answers={200: Answer("The clock.", {JSON: ClockShown})}
)
@require()
def show_clock() -> Response:
    """Where the clock stands."""
    negotiation.read_args()
    with services().engine.connect() as connection:
        head = append.read_head(connection, g.token.studio)
    return _shown(head.clock_at_us)


@clock.put("/clock")
@describe(
    "Move a simulated clock forward",
    tag="clock",
    body={JSON: _MOVE},
    answers={200: Answer("The clock as it stands now.", {JSON: ClockShown})},
    problems=(
        "malformed-json",
        "clock-refused",
        "too-large",
        "unsupported-media-type",
        "invalid-event",
    ),
)
@require(Role.OFFICE)
def move_clock() -> Response:
    """Move the clock, or refuse a move back or one too far ahead."""
    negotiation.read_args()
    negotiation.posted_type(JSON)
    posted = negotiation.posted_json()
    errors = schema_errors(_MOVE, posted)
    if not isinstance(posted, dict) or errors:
        raise ProblemError("invalid-event", 'Write {"now": an instant}.', errors)
    try:
        with services().engine.begin() as connection:
            head = studios.move_clock(
                connection, g.token.studio, parse_instant(posted["now"]), services().seal_key
            )
    except studios.ClockError as error:
        raise ProblemError("clock-refused", f"{error}.") from None
    return _shown(head.clock_at_us)


def _shown(clock_at_us: int | None) -> Response:
    if clock_at_us is None:
        shown = ClockShown(kind="real", now=format_instant(instant_us(datetime.now(UTC))))
    else:
        shown = ClockShown(kind="simulated", now=format_instant(clock_at_us))
    return Response(encoded(shown), content_type=JSON)
