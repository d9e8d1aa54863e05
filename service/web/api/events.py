"""Events: recorded by POST, read back in order of position."""

import json
from collections.abc import Iterable, Sequence
from typing import Any

import orjson
from flask import Blueprint, Response, g
from marshmallow import Schema

from service.log import read
from service.log.read import Stored
from service.log.tokens import Token
from service.production.refusal import Code, Refusal
from service.record import Proposed, Receipt, propose
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.instants import format_instant, parse_instant
from service.vocabulary.kinds import reviver
from service.web import negotiation, observing
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import BATCH, EVENT, JSON
from service.web.pointers import FieldError, step
from service.web.problems import ProblemError
from service.web.schemas import query
from service.web.schemas.common import ReceiptsShown
from service.web.schemas.events import check_event, merge_personal, split_personal
from service.web.schemas.fields import moment_field
from service.web.services import services
from service.web.strict_json import WHOLE_MAX
from service.web.visibility import sees_text

events = Blueprint("events", __name__)
_REFUSED = ((Code.FORBIDDEN, "forbidden"), (Code.ID_REUSED, "id-reused"))


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
    "receipt and recorded once.",
    body={
        EVENT: {"$ref": "#/components/schemas/Event"},
        BATCH: {"type": "array", "items": {"$ref": "#/components/schemas/Event"}},
    },
    answers={
        201: Answer(
            "Recorded.",
            {JSON: ReceiptsShown()},
            {"Location": "The event, where one was posted alone."},
        ),
        200: Answer("All of it had been recorded before.", {JSON: ReceiptsShown()}),
    },
    problems=(
        "malformed-json",
        "source-not-owned",
        "forbidden",
        "id-reused",
        "too-large",
        "unsupported-media-type",
        "invalid-event",
        "contradiction",
    ),
)
@require()
def post_events() -> Response:
    """Check, propose and record what is posted."""
    negotiation.query_of(query.NoQuery())
    batch = negotiation.posted_type(EVENT, BATCH) == BATCH
    posted = _listed(negotiation.posted_json(), batch)
    _refuse_foreign_sources(posted, g.token, batch)
    _refuse_wrong_events(posted, batch)
    proposals = [_proposal(members) for members in posted]
    if not proposals:
        return _receipts((), batch)
    found = services().studios.of(g.token.studio).recorder.record(g.token, proposals)
    if isinstance(found, Refusal):
        raise _refused(found, batch)
    return _receipts(found, batch)


def _listed(posted: object, batch: bool) -> list[Any]:
    if not batch:
        return [posted]
    if not isinstance(posted, list):
        told = FieldError("", "Write a JSON array of events.", "not-a-list")
        raise ProblemError("invalid-event", "A batch is an array of events.", [told])
    most = services().settings.batch_events_max
    if len(posted) > most:
        detail = f"The batch has {len(posted)} events; at most {most} are taken at a time."
        raise ProblemError("too-large", detail)
    return posted


def _at(index: int, batch: bool) -> str:
    return step(index) if batch else ""


def _refuse_foreign_sources(posted: Sequence[Any], token: Token, batch: bool) -> None:
    prefix = token.source_prefix
    errors = [
        FieldError(_at(index, batch) + "/source", f"Begin it with {prefix}.", "source-not-owned")
        for index, members in enumerate(posted)
        if isinstance(members, dict)
        and isinstance(members.get("source"), str)
        and not members["source"].startswith(prefix)
    ]
    if errors:
        detail = f"This token records events whose source begins with {prefix}."
        raise ProblemError("source-not-owned", detail, errors)


def _refuse_wrong_events(posted: Sequence[Any], batch: bool) -> None:
    errors = [
        error._replace(pointer=_at(index, batch) + error.pointer)
        for index, members in enumerate(posted)
        for error in check_event(members)
    ]
    if errors:
        detail = f"{len(errors)} members are wrong; nothing was recorded."
        raise ProblemError("invalid-event", detail, errors)


def _proposal(members: dict[str, Any]) -> Proposed:
    public, personal = split_personal(members)
    fact = reviver(CATALOGUE[public["type"]])(public["data"])
    return propose(public, personal, fact)


def _refused(refusal: Refusal, batch: bool) -> ProblemError:
    codes = {reason.code for reason in refusal.reasons}
    name = next((name for code, name in _REFUSED if code in codes), "contradiction")
    errors = [
        FieldError(_at(reason.place, batch) + reason.member, reason.detail, reason.code)
        for reason in refusal.reasons
    ]
    told = " ".join(reason.detail for reason in refusal.reasons[:3])
    return ProblemError(name, f"Nothing was recorded. {told}", errors)


def _receipts(receipts: Sequence[Receipt], batch: bool) -> Response:
    new = sum(not receipt.repeated for receipt in receipts)
    observing.count_appended(new)
    body = {
        "receipts": [
            {
                "source": receipt.source,
                "id": receipt.id,
                "position": receipt.position,
                "recordedat": format_instant(receipt.recorded_at_us),
                "repeated": receipt.repeated,
                "marks": list(receipt.marks),
            }
            for receipt in receipts
        ]
    }
    answer = Response(json.dumps(body), 201 if new else 200, content_type=JSON)
    if new and not batch:
        answer.headers["Location"] = f"/events/{receipts[0].position}"
    return answer


@events.get("/events")
@describe(
    "The events of the log, in order of position",
    tag="events",
    details="The `Link` header's `next` is also given on the last page, so that a reader can "
    "come back to it later for what was recorded since. Personal text is left out for those who "
    "may not read it; `personal` is then the commitment to it.",
    query=_QUERY,
    answers={
        200: Answer(
            "A page of events.",
            {BATCH: _BATCH_OF_EVENTS},
            {"Link": "What follows (RFC 8288, rel=next).", "ETag": "The tag of this page."},
        ),
        304: Answer("The page is as it was."),
    },
)
@require()
def list_events() -> Response:
    """A page of events."""
    asked = negotiation.query_of(_QUERY)
    filters = _filters(asked)
    after = negotiation.read_cursor(asked["cursor"], filters) if "cursor" in asked else 0
    with services().engine.connect() as connection:
        page = read.page(
            connection,
            g.token.studio,
            after=after,
            limit=asked["limit"],
            subject=asked.get("subject"),
            type=asked.get("type"),
            department=asked.get("department"),
            time_from_us=_us(asked.get("time_from")),
            time_until_us=_us(asked.get("time_until")),
        )
    body = b"[" + b",".join(_shown(page)) + b"]"
    answer = Response(body, content_type=BATCH)
    cursor = negotiation.make_cursor(page[-1].position if page else after, filters)
    arguments = {**_arguments(asked), "limit": asked["limit"]}
    answer.headers["Link"] = negotiation.link_next("/events", arguments, cursor)
    return negotiation.with_etag(answer, negotiation.etag_of(g.token.studio, after, body))


def _arguments(asked: dict[str, Any]) -> dict[str, Any]:
    names = {"time_from": "from", "time_until": "until"}
    told = {names.get(name, name): value for name, value in asked.items() if value}
    return {name: value for name, value in told.items() if name not in {"cursor", "limit"}}


def _filters(asked: dict[str, Any]) -> dict[str, Any]:
    return {**_arguments(asked), "studio": g.token.studio}


def _us(instant: str | None) -> int | None:
    return None if instant is None else parse_instant(instant)


@events.get("/events/<int:position>")
@describe(
    "One event",
    tag="events",
    answers={
        200: Answer("The event.", {EVENT: _ONE_EVENT}, {"ETag": "The tag of the event."}),
        304: Answer("The event is as it was."),
    },
    problems=("not-found",),
)
@require()
def show_event(position: int) -> Response:
    """One event in structured mode."""
    negotiation.query_of(query.NoQuery())
    page: Sequence[Stored] = ()
    if 0 < position <= WHOLE_MAX:
        with services().engine.connect() as connection:
            page = read.page(connection, g.token.studio, after=position - 1, limit=1)
    if not page or page[0].position != position:
        raise ProblemError("not-found", f"The log has no event at position {position}.")
    (body,) = _shown(page)
    answer = Response(body, content_type=EVENT)
    return negotiation.with_etag(answer, negotiation.etag_of(g.token.studio, position, body))


def _shown(page: Iterable[Stored]) -> list[bytes]:
    """The events as this token may read them: with personal text, or the bytes as they are."""
    shown = []
    for stored in page:
        body = stored.body
        if stored.personal is not None:
            event = orjson.loads(body)
            if sees_text(g.token, event):
                body = orjson.dumps(merge_personal(event, orjson.loads(stored.personal)))
        shown.append(body)
    return shown
