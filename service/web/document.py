"""The OpenAPI 3.1 document, made from the routes and what they say of themselves."""

import json
import re
from collections.abc import Callable, Iterator, Mapping
from importlib.metadata import version
from typing import Any, cast

from apispec import APISpec
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from flask import Blueprint, Flask, Response, current_app
from marshmallow import Schema
from werkzeug.routing import Rule

from service.vocabulary.facts import CATALOGUE
from service.web.access import roles_of
from service.web.described import Answer, Description, Shape, describe, description_of
from service.web.negotiation import JSON
from service.web.problem_types import TYPES
from service.web.problems import MEDIA_TYPE
from service.web.schemas.common import ProblemShown
from service.web.schemas.envelope import Envelope
from service.web.schemas.examples import example_event
from service.web.schemas.fields import schema_of

document_route = Blueprint("openapi", __name__)
_KEY = "retake-ledger-document"
_ARGUMENT = re.compile(r"<(?:(\w+)(?:\([^)]*\))?:)?(\w+)>")
_ARGUMENT_SHAPES: Mapping[str, dict[str, Any]] = {
    "int": {"type": "integer", "minimum": 0},
    "path": {"type": "string"},
    "string": {"type": "string"},
}
_METHODS = ("GET", "PUT", "POST", "PATCH", "DELETE")
_ABOUT = (
    "Hand-offs, notes and retakes of animated series as events, and what follows from them. "
    "Errors are RFC 9457 problems. Instants are RFC 3339 with a zone; quantities are numbers with "
    "at most 4 decimals. Answers may gain members: pass over those you do not know."
)


def undescribed(app: Flask) -> list[str]:
    """Routes that say nothing of themselves."""
    return [rule.rule for rule, _, said in _routes(app) if said is None]


def document(app: Flask) -> dict[str, Any]:
    """The OpenAPI document of an app's routes."""
    plugin = MarshmallowPlugin()
    spec = APISpec(
        title="Retake Ledger",
        version=version("retake-ledger"),
        openapi_version="3.1.0",
        plugins=[plugin],
        info={"description": _ABOUT},
        jsonSchemaDialect="https://json-schema.org/draft/2020-12/schema",
        security=[{"token": []}],
    )
    # the plugin makes it when it meets the spec
    converter = cast(OpenAPIConverter, plugin.converter)
    spec.components.security_scheme(
        "token",
        {"type": "http", "scheme": "bearer", "description": "RFC 6750, in the header alone."},
    )
    spec.components.schema("Problem", schema=ProblemShown())
    _add_events(spec)
    for rule, route, said in _routes(app):
        if said is not None:
            spec.path(path=_path(rule), operations=_operations(converter, rule, route, said))
    made: dict[str, Any] = spec.to_dict()
    made["paths"] = dict(sorted(made["paths"].items()))
    made["components"]["schemas"] = dict(sorted(made["components"]["schemas"].items()))
    return made


def render(made: Mapping[str, Any]) -> str:
    """The document as text, the same for the same routes."""
    return json.dumps(made, indent=2, ensure_ascii=False) + "\n"


def _routes(app: Flask) -> Iterator[tuple[Rule, Callable[..., Any], Description | None]]:
    for rule in sorted(app.url_map.iter_rules(), key=lambda rule: (rule.rule, rule.endpoint)):
        route = app.view_functions[rule.endpoint]
        yield rule, route, description_of(route)


def _path(rule: Rule) -> str:
    return _ARGUMENT.sub(r"{\2}", rule.rule)


def _operations(
    converter: OpenAPIConverter, rule: Rule, route: Callable[..., Any], said: Description
) -> dict[str, Any]:
    roles = roles_of(route)
    operation: dict[str, Any] = {
        "operationId": rule.endpoint.rpartition(".")[2],
        "tags": [said.tag],
        "summary": said.summary,
    }
    if said.details or roles:
        wanted = f"Role: {' or '.join(roles)}." if roles else ""
        operation["description"] = f"{said.details} {wanted}".strip()
    parameters = [*_path_parameters(rule), *_query_parameters(converter, said.query)]
    if parameters:
        operation["parameters"] = parameters
    if said.body:
        operation["requestBody"] = {"required": True, "content": _content(converter, said.body)}
    operation["responses"] = _responses(converter, said, roles)
    if roles is None:
        operation["security"] = []
    methods = [method for method in _METHODS if method in (rule.methods or ())]
    return {method.lower(): operation for method in methods}


def _path_parameters(rule: Rule) -> list[dict[str, Any]]:
    return [
        {
            "in": "path",
            "name": name,
            "required": True,
            "schema": dict(_ARGUMENT_SHAPES[converter or "string"]),
        }
        for converter, name in _ARGUMENT.findall(rule.rule)
    ]


def _query_parameters(converter: OpenAPIConverter, query: Schema | None) -> list[dict[str, Any]]:
    if query is None:
        return []
    found: list[dict[str, Any]] = converter.schema2parameters(query, location="query")
    return found


def _content(converter: OpenAPIConverter, media: Mapping[str, Shape]) -> dict[str, Any]:
    return {type_: {"schema": _shape(converter, shape)} for type_, shape in media.items()}


def _shape(converter: OpenAPIConverter, shape: Shape) -> Any:
    if not isinstance(shape, Schema):
        return shape
    return converter.resolve_nested_schema(shape)  # type: ignore[no-untyped-call]  # the library's


def _responses(
    converter: OpenAPIConverter, said: Description, roles: tuple[str, ...] | None
) -> dict[str, Any]:
    found = {str(status): _response(converter, answer) for status, answer in said.answers.items()}
    names = {"invalid-query", "internal-error", *said.problems}
    if roles is not None:
        names |= {"no-token", "invalid-token", "unavailable"}
    if roles:
        names.add("insufficient-scope")
    by_status: dict[int, list[str]] = {}
    for name in TYPES:
        if name in names:
            by_status.setdefault(TYPES[name].status, []).append(name)
    for status, told in sorted(by_status.items()):
        meaning = " ".join(f"{name}: {TYPES[name].title}." for name in told)
        shape = {"$ref": "#/components/schemas/Problem"}
        found[str(status)] = {
            "description": meaning,
            "content": {MEDIA_TYPE: {"schema": shape}},
        }
    return dict(sorted(found.items()))


def _response(converter: OpenAPIConverter, answer: Answer) -> dict[str, Any]:
    made: dict[str, Any] = {"description": answer.meaning}
    if answer.headers:
        made["headers"] = {
            name: {"description": meaning, "schema": {"type": "string"}}
            for name, meaning in answer.headers.items()
        }
    if answer.media:
        made["content"] = _content(converter, answer.media)
    return made


def _add_events(spec: APISpec) -> None:
    spec.components.schema("Envelope", schema=Envelope())
    names = {}
    for type_, fact in CATALOGUE.items():
        names[type_] = f"{fact.__name__}Event"
        spec.components.schema(fact.__name__, schema=schema_of(fact))
        spec.components.schema(names[type_], _event_shape(type_))
    refs = {type_: f"#/components/schemas/{name}" for type_, name in names.items()}
    spec.components.schema(
        "Event",
        {
            "description": "A CloudEvent (1.0, structured mode) as it is posted.",
            "oneOf": [{"$ref": ref} for ref in refs.values()],
            "discriminator": {"propertyName": "type", "mapping": refs},
        },
    )
    spec.components.schema("RecordedEvent", _RECORDED)


def _event_shape(type_: str) -> dict[str, Any]:
    fact = CATALOGUE[type_]
    forms = ", ".join(sorted(fact.SUBJECTS))
    roles = ", ".join(sorted(fact.ROLES))
    return {
        "description": f"{fact.__doc__} Subject: {forms}. Recorded by: {roles}.",
        "allOf": [
            {"$ref": "#/components/schemas/Envelope"},
            {
                "type": "object",
                "properties": {
                    "type": {"const": type_},
                    "data": {"$ref": f"#/components/schemas/{fact.__name__}"},
                },
            },
        ],
        "examples": [example_event(type_)],
    }


_RECORDED = {
    "description": "A CloudEvent as the log gives it.",
    "allOf": [
        {"$ref": "#/components/schemas/Envelope"},
        {
            "type": "object",
            "properties": {
                "position": {"type": "integer", "description": "Its place in the log, from 1."},
                "recordedat": {
                    "type": "string",
                    "format": "date-time",
                    "description": "When the log took it, by the studio's clock.",
                },
                "poster": {"type": "string", "description": "The token that recorded it."},
                "personal": {
                    "type": "string",
                    "description": "The commitment to its personal text, where it has some.",
                },
            },
            "required": ["position", "poster", "recordedat"],
        },
    ],
}


@document_route.get("/openapi.json")
@describe(
    "This document",
    tag="service",
    answers={200: Answer("OpenAPI 3.1.", {JSON: {"type": "object"}})},
)
def show_document() -> Response:
    """The document of the app that answers; made once."""
    text = current_app.extensions.get(_KEY)
    if text is None:
        text = current_app.extensions[_KEY] = render(document(current_app))
    answer = Response(text, content_type=JSON)
    answer.add_etag()
    return answer
