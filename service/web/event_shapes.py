"""How the OpenAPI document describes events: as they are posted, and as the log gives them.

What a poster's own check by the document lets pass, the service finds well formed; what a
schema has no words for is said in the descriptions.
"""

from typing import Any

from apispec import APISpec

from service.vocabulary.facts import CATALOGUE, Role
from service.vocabulary.facts.base import OWNER
from service.web.schemas.envelope import OWN, PRINTABLE, TRACE, WHOLE_32, Envelope
from service.web.schemas.examples import example_events
from service.web.schemas.fields import schema_of
from service.web.schemas.subjects import pattern_of
from service.web.strict_json import WHOLE_MAX

_ATTRIBUTE_TEXT = {"type": "string", "minLength": 1, "pattern": PRINTABLE}
_EXTENSIONS: dict[str, Any] = {
    # the names that CloudEvents knows are written in such letters too
    "propertyNames": {"pattern": "^[a-z0-9]{1,64}$"},
    "additionalProperties": {
        "description": "An extension attribute.",
        "type": ["string", "integer", "boolean"],
        "minLength": 1,
        "pattern": PRINTABLE,
        "minimum": -WHOLE_32,
        "maximum": WHOLE_32 - 1,
    },
}
_NOTHING: dict[str, Any] = {"not": {}}
_NOT_POSTED = dict.fromkeys((*OWN, "data_base64"), _NOTHING)
_KEPT = {
    "description": "What a member that has no name here may be: anything but null. It is kept.",
    "type": ["string", "number", "boolean", "array", "object"],
    "minimum": -WHOLE_MAX,
    "maximum": WHOLE_MAX,
    "items": {"$ref": "#/components/schemas/Kept"},
    "additionalProperties": {"$ref": "#/components/schemas/Kept"},
}


def add_events(spec: APISpec) -> None:
    """Add every type of event to the components of a document."""
    spec.components.schema("Envelope", schema=Envelope())
    spec.components.schema("Kept", _KEPT)
    names = {}
    for type_, fact in CATALOGUE.items():
        names[type_] = f"{fact.__name__}Event"
        spec.components.schema(fact.__name__, schema=schema_of(fact))
        spec.components.schema(names[type_], _event_shape(type_))
    # what nobody may record is not posted either
    refs = {
        type_: f"#/components/schemas/{name}"
        for type_, name in names.items()
        if CATALOGUE[type_].ROLES
    }
    spec.components.schema(
        "Event",
        {
            "description": "A CloudEvent (1.0, structured mode) as it is posted.",
            "oneOf": [{"$ref": ref} for ref in refs.values()],
            "discriminator": {"propertyName": "type", "mapping": refs},
        },
    )
    spec.components.schema("RecordedEvent", _RECORDED)


def say_what_may_be_added(schemas: dict[str, Any]) -> None:
    """Say of attributes and members without a name here what they may be, in place.

    The schemas of marshmallow can only say whether there may be any.
    """
    envelope = schemas["Envelope"]
    envelope |= _EXTENSIONS
    envelope["properties"] |= dict.fromkeys(TRACE, _ATTRIBUTE_TEXT)
    for shape in schemas.values():
        if shape.get("additionalProperties") is True:
            shape["additionalProperties"] = {"$ref": "#/components/schemas/Kept"}


def _event_shape(type_: str) -> dict[str, Any]:
    fact = CATALOGUE[type_]
    forms = ", ".join(sorted(fact.SUBJECTS))
    roles = ", ".join(sorted(fact.ROLES)) or "the owner of the database; it cannot be posted"
    meaning = " ".join((fact.__doc__ or "").split())
    return {
        "description": " ".join(
            (f"{meaning} Subject: {forms}. Recorded by: {roles}.", *fact.CAUTIONS)
        ),
        "allOf": [
            {"$ref": "#/components/schemas/Envelope"},
            {
                "type": "object",
                "properties": {
                    "type": {"const": type_},
                    "subject": {"type": "string", "pattern": pattern_of(fact.SUBJECTS)},
                    "data": {"$ref": f"#/components/schemas/{fact.__name__}"},
                    **_NOT_POSTED,
                },
            },
        ],
        "examples": example_events(type_),
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
                "posterrole": {
                    "type": "string",
                    "enum": [*Role, OWNER],
                    "description": "The role of that token; absent in the oldest records.",
                },
                "cause": {
                    "type": "string",
                    "description": "The change order whose approval recorded it, where one did.",
                },
                "typeversion": {
                    "type": "integer",
                    "description": "The version of its type; 1 where none is said.",
                },
                "personal": {
                    "type": "string",
                    "description": "The commitment to its personal text, where it has some.",
                },
                "salt": {
                    "type": "string",
                    "description": "Random, part of the recorded bytes, so that the leaf's hash "
                    "tells nothing of what is in them. Absent from what is withheld, and from what "
                    "earlier releases recorded.",
                },
                "forgotten": {
                    "const": True,
                    "description": "There where it had personal text that was removed since.",
                },
                "withheld": {
                    "const": True,
                    "description": "There where the role may not read the data: they are empty.",
                },
            },
            "required": ["position", "poster", "recordedat"],
        },
    ],
}
