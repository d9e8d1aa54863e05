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
from marshmallow import Schema, fields
from werkzeug.routing import Rule

from service.vocabulary.identifiers import CODE, DEPARTMENT, ELEMENT, EPISODE, SCENE, SHOW
from service.web.access import roles_of
from service.web.answers import SCHEMAS, Shown, schemas_of
from service.web.described import Answer, Description, Shape, describe, description_of
from service.web.event_shapes import add_events, say_what_may_be_added
from service.web.negotiation import JSON
from service.web.problem_types import TYPES
from service.web.problems import MEDIA_TYPE, ProblemShown
from service.web.schemas.fields import AnyField
from service.web.strict_json import WHOLE_MAX

document_route = Blueprint("openapi", __name__)
_KEY = "retake-ledger-document"
_ARGUMENT = re.compile(r"<(?:(\w+)(?:\([^)]*\))?:)?(\w+)>")
# by the argument's name, or else by its converter
_CONVERTED: Mapping[str, dict[str, Any]] = {
    "int": {"type": "integer", "minimum": 0},
    "path": {"type": "string"},
    "string": {"type": "string"},
}
_ARGUMENT_SHAPES: Mapping[str, dict[str, Any]] = {
    "department": {"type": "string", "maxLength": 40, "pattern": f"^{DEPARTMENT}$"},
    "element": {"type": "string", "pattern": f"^{ELEMENT}$"},
    "episode": {"type": "string", "pattern": f"^{SHOW}-{EPISODE}$"},
    "name": {"type": "string", "enum": list(TYPES)},
    "position": {"type": "integer", "minimum": 1, "maximum": WHOLE_MAX},
    "retake": {"type": "string", "pattern": f"^{CODE}$"},
    "scene": {"type": "string", "pattern": f"^{SCENE}$"},
    "show": {"type": "string", "pattern": f"^{SHOW}$"},
}
_METHODS = ("GET", "PUT", "POST", "PATCH", "DELETE")
_ABOUT = (
    "Hand-offs, notes and retakes of animated series as events, and what follows from them. "
    "Errors are RFC 9457 problems. Instants are RFC 3339 with a zone; quantities are numbers with "
    "at most 4 decimals. Answers may gain members: pass over those you do not know. Each example "
    "of an event is for a studio in which what it names is on record: posted one after the other "
    "to an empty studio, examples are refused."
)


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
    converter.add_attribute_function(_names_of_table)  # type: ignore[no-untyped-call]  # the library's
    spec.components.security_scheme(
        "token",
        {"type": "http", "scheme": "bearer", "description": "RFC 6750, in the header alone."},
    )
    add_events(spec)
    for rule, route, description in routes(app):
        if description is not None:
            spec.path(
                path=path_of(rule), operations=_operations(converter, rule, route, description)
            )
    made: dict[str, Any] = spec.to_dict()
    schemas = made["components"]["schemas"]
    schemas |= schemas_of([ProblemShown, *_shown_by(app)])
    say_what_may_be_added(made["components"]["schemas"])
    made["paths"] = dict(sorted(made["paths"].items()))
    made["components"]["schemas"] = dict(sorted(made["components"]["schemas"].items()))
    return made


def _shown_by(app: Flask) -> list[type[Shown]]:
    """The structs that routes answer with."""
    return [
        shape
        for _, _, description in routes(app)
        if description is not None
        for answer in description.answers.values()
        for shape in answer.media.values()
        if isinstance(shape, type)
    ]


def render(made: Mapping[str, Any]) -> str:
    """The document as text, the same for the same routes."""
    return json.dumps(made, indent=2, ensure_ascii=False) + "\n"


def _names_of_table(converter: OpenAPIConverter, field: AnyField, **_: Any) -> dict[str, Any]:
    """What the names in a table must be; the library describes its values alone."""
    if not isinstance(field, fields.Dict) or field.key_field is None:
        return {}
    name = converter.field2property(field.key_field)
    return {"propertyNames": name}


def routes(app: Flask) -> Iterator[tuple[Rule, Callable[..., Any], Description | None]]:
    """Every route in order of address: its rule, its function, and what it says of itself."""
    for rule in sorted(app.url_map.iter_rules(), key=lambda rule: (rule.rule, rule.endpoint)):
        route = app.view_functions[rule.endpoint]
        yield rule, route, description_of(route)


def path_of(rule: Rule) -> str:
    """The address of a rule as OpenAPI writes it."""
    return _ARGUMENT.sub(r"{\2}", rule.rule)


def methods_of(rule: Rule) -> list[str]:
    """The methods that a rule is there for; HEAD and OPTIONS come with them."""
    return [method for method in _METHODS if method in (rule.methods or ())]


def _operations(
    converter: OpenAPIConverter, rule: Rule, route: Callable[..., Any], description: Description
) -> dict[str, Any]:
    roles = roles_of(route)
    operation: dict[str, Any] = {
        "operationId": rule.endpoint.rpartition(".")[2],
        "tags": [description.tag],
        "summary": description.summary,
    }
    wanted = f"Role: {' or '.join(roles)}." if roles else ""
    details = " ".join(filter(None, (description.details, *description.cautions, wanted)))
    if details:
        operation["description"] = details
    parameters = [*_path_parameters(rule), *_query_parameters(converter, description.query)]
    if parameters:
        operation["parameters"] = parameters
    if description.body:
        operation["requestBody"] = {
            "required": True,
            "content": _content(converter, description.body),
        }
    operation["responses"] = _responses(converter, description, roles)
    if roles is None:
        operation["security"] = []
    return {method.lower(): operation for method in methods_of(rule)}


def _path_parameters(rule: Rule) -> list[dict[str, Any]]:
    return [
        {
            "in": "path",
            "name": name,
            "required": True,
            "schema": dict(_ARGUMENT_SHAPES.get(name) or _CONVERTED[converter or "string"]),
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
    if isinstance(shape, type):
        return {"$ref": f"{SCHEMAS}{shape.__name__}"}
    if not isinstance(shape, Schema):
        return shape
    return converter.resolve_nested_schema(shape)  # type: ignore[no-untyped-call]  # the library's


def _responses(
    converter: OpenAPIConverter, description: Description, roles: tuple[str, ...] | None
) -> dict[str, Any]:
    found = {
        str(status): _response(converter, answer) for status, answer in description.answers.items()
    }
    if any("ETag" in answer.headers for answer in description.answers.values()):
        found["304"] = {"description": "It is as `If-None-Match` says; there is no body."}
    names = {"internal-error", "not-acceptable", *description.problems}
    if roles is not None:
        names |= {"invalid-query", "no-token", "invalid-token", "too-many-requests", "unavailable"}
    if roles:
        names.add("insufficient-scope")
    by_status: dict[int, list[str]] = {}
    for name in TYPES:
        if name in names:
            by_status.setdefault(TYPES[name].status, []).append(name)
    for status, types in sorted(by_status.items()):
        meaning = " ".join(f"{name}: {TYPES[name].title}." for name in types)
        shape = {"$ref": f"{SCHEMAS}{ProblemShown.__name__}"}
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
