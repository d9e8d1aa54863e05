"""RFC 9457 problems: every error leaves as `application/problem+json`, of a type with a page."""

import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Annotated

import msgspec
from flask import Blueprint, Flask, Response, current_app, g, request
from marshmallow import ValidationError
from msgspec import UNSET, UnsetType
from werkzeug.exceptions import (
    HTTPException,
    MethodNotAllowed,
    NotFound,
    RequestEntityTooLarge,
)

from service.web.answers import Shown, note
from service.web.described import Answer, describe
from service.web.pointers import FieldError, step
from service.web.problem_types import TYPES, ProblemType

MEDIA_TYPE = "application/problem+json"
_KEPT_HEADERS = ("Allow", "Retry-After", "Content-Range", "WWW-Authenticate")
_log = logging.getLogger("retake_ledger.web")


_BY_STATUS = {
    400: "bad-request",
    401: "no-token",
    403: "insufficient-scope",
    404: "not-found",
    405: "method-not-allowed",
    406: "not-acceptable",
    413: "too-large",
    415: "unsupported-media-type",
    422: "invalid-event",
    429: "too-many-requests",
    500: "internal-error",
    503: "unavailable",
}


@dataclass(frozen=True)
class Problem:
    """One problem: the name of its type, what happened this time, and all errors.

    `trace` is where the service's own log has a fault, `item` what the fault was met at.
    """

    name: str
    detail: str
    errors: tuple[FieldError, ...] = ()
    headers: Mapping[str, str] = field(default_factory=dict)
    trace: str | None = None
    item: str | None = None

    @property
    def status(self) -> int:
        """The HTTP status."""
        return TYPES[self.name].status

    def respond(self) -> Response:
        """The problem as an HTTP answer."""
        kind = TYPES[self.name]
        return _respond(f"/problems/{kind.name}", kind.title, kind.status, self)


class ProblemError(Exception):
    """Carries a problem out of a route."""

    def __init__(
        self,
        name: str,
        detail: str,
        errors: Sequence[FieldError] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.problem = Problem(name, detail, tuple(errors), headers or {})


class ErrorShown(Shown):
    """One error of a problem."""

    pointer: Annotated[
        str,
        note(
            "A JSON pointer into the body, beginning with the event's place in a batch; of a "
            "quote, into the event that raised the order; ?name is an argument of the query."
        ),
    ]
    detail: Annotated[str, note("What is wrong and the remedy.")]
    code: Annotated[str, note("The stable name of what is wrong.")]


class ProblemShown(Shown):
    """A problem (RFC 9457)."""

    type: Annotated[str, note("A URI reference; its page says what it means.")]
    title: Annotated[str, note("The type in a few words.")]
    status: Annotated[int, note("The HTTP status.")]
    detail: Annotated[str, note("What happened this time.")]
    errors: Annotated[list[ErrorShown] | UnsetType, note("All errors at once.")] = UNSET
    trace: Annotated[str | UnsetType, note("The trace under which the service logged a fault.")] = (
        UNSET
    )
    item: Annotated[
        str | UnsetType, note("The item at which a fault kept plans from being made.")
    ] = UNSET


def _respond(type_: str, title: str, status: int, problem: Problem) -> Response:
    shown = ProblemShown(
        type=type_,
        title=title,
        status=status,
        detail=problem.detail,
        errors=[ErrorShown(**error._asdict()) for error in problem.errors] or UNSET,
        trace=problem.trace or UNSET,
        item=problem.item or UNSET,
    )
    # a detail may repeat what was sent, half a surrogate pair included: ASCII can hold it
    answer = Response(json.dumps(msgspec.to_builtins(shown)), status, content_type=MEDIA_TYPE)
    answer.headers.update(problem.headers)
    return answer


def too_large(most_bytes: int) -> str:
    """What is said to who posts too much at once."""
    return f"At most {most_bytes} bytes are taken at a time. Post fewer events."


def _detail_of(error: HTTPException) -> str | None:
    """What is wrong and the remedy, where the library's own words name none."""
    match error:
        case NotFound():
            return "This service has no such address; /openapi.json lists those it has."
        case MethodNotAllowed():
            served = ", ".join(sorted(error.valid_methods or ()))
            return f"{request.method} is not served here; these are: {served}."
        case RequestEntityTooLarge():
            most = current_app.config["MAX_CONTENT_LENGTH"]
            return too_large(most)
    return None


def _of_http(error: HTTPException) -> Response:
    response = error.get_response()
    kept = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
    status = error.code or 500
    detail = _detail_of(error) or error.description or HTTPStatus(status).description
    name = _BY_STATUS.get(status)
    if name is None:
        # RFC 9457, section 4.2.1: about:blank says no more than the status does
        title = HTTPStatus(status).phrase
        return _respond("about:blank", title, status, Problem("bad-request", detail, (), kept))
    return Problem(name, detail, (), kept).respond()


def _of_validation(error: ValidationError) -> Response:
    errors = tuple(_flat(error.messages, ""))
    return Problem("invalid-event", "The body has members that are wrong.", errors).respond()


def _flat(messages: object, pointer: str) -> list[FieldError]:
    if isinstance(messages, Mapping):
        return [
            error
            for name, inner in messages.items()
            for error in _flat(inner, pointer if name == "_schema" else pointer + step(name))
        ]
    listed = messages if isinstance(messages, list) else [messages]
    return [FieldError(pointer, str(one), "invalid") for one in listed]


def _of_fault(error: Exception) -> Response:
    trace = g.get("trace")
    _log.error("unexpected fault", exc_info=error, extra={"trace": trace})
    return Problem(
        "internal-error", "The service met a fault that it did not expect.", trace=trace
    ).respond()


_JSON = "application/json"
_PAGE_SHAPE = {
    "type": "object",
    "properties": {
        "type": {"type": "string", "description": "The type's URI reference."},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "meaning": {"type": "string", "description": "What it means and what to do."},
    },
    "required": ["type", "title", "status", "meaning"],
}
_LIST_SHAPE = {"items": {"type": "array", "items": _PAGE_SHAPE}}

pages = Blueprint("problems", __name__)


@pages.get("/problems")
@describe(
    "All types of problem",
    tag="problems",
    answers={200: Answer("The types.", {_JSON: {"type": "object", "properties": _LIST_SHAPE}})},
)
def list_types() -> Response:
    """All types of problem."""
    return _json({"items": [_page(kind) for kind in TYPES.values()]})


@pages.get("/problems/<name>")
@describe(
    "One type of problem",
    tag="problems",
    answers={200: Answer("What it means and what to do.", {_JSON: _PAGE_SHAPE})},
    problems=("not-found",),
)
def describe_type(name: str) -> Response:
    """One type of problem: what it means and what to do."""
    kind = TYPES.get(name)
    if kind is None:
        raise ProblemError("not-found", "There is no such type of problem; see /problems.")
    return _json(_page(kind))


def _page(kind: ProblemType) -> dict[str, object]:
    return {
        "type": f"/problems/{kind.name}",
        "title": kind.title,
        "status": kind.status,
        "meaning": kind.meaning,
    }


def _json(value: object) -> Response:
    return Response(json.dumps(value), content_type=_JSON)


def install(app: Flask) -> None:
    """Let every error of the app leave as a problem, and give each type its page."""
    app.register_error_handler(HTTPException, _of_http)
    app.register_error_handler(ProblemError, lambda error: error.problem.respond())
    app.register_error_handler(ValidationError, _of_validation)
    app.register_error_handler(Exception, _of_fault)
    app.register_blueprint(pages)
