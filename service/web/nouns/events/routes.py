"""Events: recorded by POST, read back in order of position."""

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, Response, g
from marshmallow import Schema

from service.log import read
from service.log.read import Stored
from service.production.decide.bounds import DATE_BOUND_YEARS
from service.production.refusal import Refusal
from service.record import Receipt
from service.vocabulary.instants import parse_instant
from service.web import negotiation, observing, paging, posted
from service.web.access import look_again, require, require_until_recorded
from service.web.answers import encoded
from service.web.described import Answer, describe
from service.web.negotiation import BATCH, EVENT, JSON
from service.web.nouns.events.answers import ReceiptsShown, shown_receipts
from service.web.problems import ProblemError
from service.web.recorded import shown_events
from service.web.schemas import query
from service.web.schemas.fields import moment_field
from service.web.services import services
from service.web.strict_json import WHOLE_MAX

events = Blueprint("events", __name__)


class EventsQuery(Schema):
    """Arguments of the list of events."""

    cursor = query.cursor()
    limit = query.limit()
    subject = query.subject("Only events about this subject and what lies beneath it.")
    type = query.event_type()
    department = query.department("Only events whose data names this department.")
    time_from = moment_field(
        data_key="from", metadata={"description": "Only events that happened at or after this."}
    )
    time_until = moment_field(
        data_key="until", metadata={"description": "Only events that happened at or before this."}
    )


_QUERY = EventsQuery()
_ONE_EVENT = {"$ref": "#/components/schemas/RecordedEvent"}
_BATCH_OF_EVENTS = {"type": "array", "items": _ONE_EVENT}


@events.post("/events")
@describe(
    "Record one event, or a batch that lands whole or not at all",
    tag="events",
    details="A repeat of `source` and `id` with the same content is answered with the first "
    "receipt and recorded once. Dates and instants in `data` lie within "
    f"{DATE_BOUND_YEARS} years of the studio's clock; others are refused as a contradiction.",
    body=posted.BODY,
    answers={
        201: Answer(
            "Recorded.",
            {JSON: ReceiptsShown},
            {"Location": "The event, where one was posted alone."},
        ),
        200: Answer("All of it had been recorded before.", {JSON: ReceiptsShown}),
    },
    problems=(*posted.PROBLEMS, "id-reused", "unsound-tree"),
)
@require_until_recorded
def post_events() -> Response:
    """Check, propose and record what is posted."""
    negotiation.read_args()
    proposals, batch = posted.events_posted(g.token)
    if not proposals:
        look_again()
        return _receipts((), batch)
    found = services().studios.of(g.token.studio).recorder.record(g.token, proposals)
    if isinstance(found, Refusal):
        raise posted.refused(found, batch)
    return _receipts(found, batch)


def _receipts(receipts: Sequence[Receipt], batch: bool) -> Response:
    new = sum(not receipt.repeated for receipt in receipts)
    observing.count_appended(new)
    body = encoded(shown_receipts(receipts))
    answer = Response(body, 201 if new else 200, content_type=JSON)
    if new and not batch:
        answer.headers["Location"] = f"/events/{receipts[0].position}"
    return answer


@events.get("/events")
@describe(
    "The events of the log, in order of position",
    tag="events",
    details="The `Link` header's `next` is also given on the last page, so that a reader can "
    "come back to it later for what was recorded since. A page is shorter than `limit` where it "
    "would have more than 2 MiB; only an empty one is the last. Personal text is left out for "
    "those who may not read it; `personal` is then the commitment to it. Desks read of rates and "
    "change orders the envelope alone: `data` is empty and `withheld` is true.",
    query=_QUERY,
    answers={
        200: Answer(
            "A page of events.",
            {BATCH: _BATCH_OF_EVENTS},
            {"Link": "What follows (RFC 8288, rel=next).", "ETag": "The tag of this page."},
        ),
    },
)
@require()
def list_events() -> Response:
    """A page of events."""
    args = negotiation.read_args()
    filters = _filters(args)
    after = paging.number_of(args, filters)
    with services().engine.connect() as connection:
        page = read.page(
            connection,
            g.token.studio,
            after=after,
            limit=args["limit"],
            subject=args.get("subject"),
            type=args.get("type"),
            department=args.get("department"),
            time_from_us=_us(args.get("time_from")),
            time_until_us=_us(args.get("time_until")),
            bytes_max=services().page_bytes_max,
        )
        shown = shown_events(connection, page, g.token)
    body = b"[" + b",".join(shown) + b"]"
    answer = Response(body, content_type=BATCH)
    cursor = paging.make_cursor([page[-1].position if page else after], filters)
    paging.say_next(answer, _arguments(args), args["limit"], cursor)
    return negotiation.with_etag(answer, negotiation.etag_of(g.token.studio, after, body))


def _arguments(args: dict[str, Any]) -> dict[str, Any]:
    names = {"time_from": "from", "time_until": "until"}
    renamed = {names.get(name, name): value for name, value in args.items() if value}
    return {name: value for name, value in renamed.items() if name not in {"cursor", "limit"}}


def _filters(args: dict[str, Any]) -> dict[str, Any]:
    return {**_arguments(args), "studio": g.token.studio}


def _us(instant: str | None) -> int | None:
    return None if instant is None else parse_instant(instant)


@events.get("/events/<int:position>")
@describe(
    "One event",
    tag="events",
    answers={
        200: Answer("The event.", {EVENT: _ONE_EVENT}, {"ETag": "The tag of the event."}),
    },
    problems=("not-found",),
)
@require()
def show_event(position: int) -> Response:
    """One event in structured mode."""
    negotiation.read_args()
    found: list[tuple[int, bytes]] = []
    with services().engine.connect() as connection:
        if 0 < position <= WHOLE_MAX:
            found = read.bodies(connection, g.token.studio, position - 1, position)
        shown = shown_events(connection, [Stored(*row) for row in found], g.token)
    if not shown:
        raise ProblemError("not-found", f"The log has no event at position {position}.")
    (body,) = shown
    answer = Response(body, content_type=EVENT)
    return negotiation.with_etag(answer, negotiation.etag_of(g.token.studio, position, body))
