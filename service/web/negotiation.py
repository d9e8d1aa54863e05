"""What a request says beside its facts: content types, query arguments, validators."""

import hashlib
from collections.abc import Mapping
from typing import Any

from flask import Response, request
from marshmallow import Schema, ValidationError, missing
from werkzeug.http import parse_options_header

from service.web import strict_json
from service.web.described import description_here
from service.web.pointers import FieldError
from service.web.problems import ProblemError
from service.web.schemas.messages import pointed
from service.web.services import services
from service.web.strict_json import Limits, Unreadable

EVENT = "application/cloudevents+json"
BATCH = "application/cloudevents-batch+json"
JSON = "application/json"
_NO_QUERY = Schema()


def posted_type(*taken: str) -> str:
    """The content type of the body, one of those taken.

    Raises ProblemError (415) for another one, and for a charset other than UTF-8.
    """
    written = request.headers.get("Content-Type", "")
    name, options = parse_options_header(written)
    if name.lower() not in taken:
        raise _unsupported(f"{written or 'No content type'} is not taken here.", taken)
    if options.get("charset", "utf-8").lower() not in {"utf-8", "utf8"}:
        raise _unsupported(f"The charset {options['charset']} is not taken: send UTF-8.", taken)
    encoding = request.headers.get("Content-Encoding", "identity")
    if encoding.lower() != "identity":
        detail = f"The content encoding {encoding} is not taken: send it plain."
        # RFC 9110, section 15.5.16: the answer says which codings would have been taken
        headers = {"Accept-Encoding": "identity"}
        raise ProblemError("unsupported-media-type", detail, headers=headers)
    return name.lower()


def _unsupported(what: str, taken: tuple[str, ...]) -> ProblemError:
    detail = f"{what} Send {' or '.join(taken)}."
    if any(name.lower().startswith("ce-") for name, _ in request.headers):
        detail += " Binary mode (ce- headers) is not taken: put the attributes into the JSON."
    # the same section: or which media types would have been
    headers = {"Accept": ", ".join(taken)}
    if request.method == "POST":
        headers["Accept-Post"] = headers["Accept"]
    return ProblemError("unsupported-media-type", detail, headers=headers)


def posted_json() -> object:
    """The value of the JSON body. Raises ProblemError (400, 413) where it cannot be taken."""
    settings = services().settings
    value = strict_json.read(
        request.get_data(cache=False), Limits(settings.body_bytes_max, settings.nesting_max)
    )
    if isinstance(value, Unreadable):
        name = "too-large" if value.too_large else "malformed-json"
        raise ProblemError(name, value.detail, value.errors)
    return value


def read_args() -> dict[str, Any]:
    """The arguments of the query, as the route that answers describes them.

    Raises ProblemError (400) as `query_of` does.
    """
    route = description_here()
    return query_of(_NO_QUERY if route is None or route.query is None else route.query)


def query_of(schema: Schema) -> dict[str, Any]:
    """The arguments of the query as the schema loads them.

    Raises ProblemError (400) naming each that is unknown, said twice (unless it is a list in the
    schema) or wrong.
    """
    errors: list[FieldError] = []
    given: dict[str, Any] = {}
    names = {field.data_key or name: field for name, field in schema.fields.items()}
    for name, values in request.args.lists():
        field = names.get(name)
        if field is None:
            errors.append(_unknown(name, names))
        elif any("\0" in value for value in values):
            errors.append(FieldError(f"?{name}", "Write it without a NUL character.", "not-text"))
        elif hasattr(field, "inner"):
            given[name] = values
        elif len(values) > 1:
            errors.append(FieldError(f"?{name}", "Say it once.", "duplicate-name"))
        else:
            given[name] = values[0]
    loaded: dict[str, Any] = {}
    for name, field in names.items():
        try:
            value = field.deserialize(given.get(name, missing), name, given)
        except ValidationError as error:
            errors += [
                found._replace(pointer=f"?{name}") for found in pointed(error.messages, "", field)
            ]
            continue
        if value is not missing:
            loaded[field.name or name] = value
    if errors:
        raise invalid_query(*errors)
    return loaded


def _unknown(name: str, names: Mapping[str, object]) -> FieldError:
    if name == "access_token":
        remedy = "A token is not taken in the address: send it in the Authorization header."
    else:
        remedy = f"Known here: {', '.join(names) or 'none'}."
    return FieldError(f"?{name}", f"There is no such argument. {remedy}", "unknown-argument")


def invalid_query(*errors: FieldError) -> ProblemError:
    """The problem of arguments that are wrong."""
    return ProblemError("invalid-query", " ".join(error.detail for error in errors), errors)


def etag_of(studio: str, position: int, *also: object) -> str:
    """The tag of an answer made of a studio's log up to a position, and of what else it took."""
    digest = hashlib.blake2b(digest_size=8)
    for part in (studio, *also):
        raw = part if isinstance(part, bytes) else str(part).encode()
        digest.update(len(raw).to_bytes(8, "big"))  # so that no two lists of parts run together
        digest.update(raw)
    return f"{position}-{digest.hexdigest()}"


def with_etag(answer: Response, tag: str) -> Response:
    """The answer under its tag, or 304 without a body where `If-None-Match` names it."""
    answer.set_etag(tag)
    answer.headers["Cache-Control"] = "private, no-cache"
    answer.make_conditional(request)
    return answer


def is_current(tag: str) -> bool:
    """Whether `If-None-Match` names the tag, so that the answer need not be made."""
    return request.if_none_match.contains_weak(tag)
