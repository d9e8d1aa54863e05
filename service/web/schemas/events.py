"""Events as they come in: all that is wrong with one, and its personal members set apart."""

from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any

import msgspec
from marshmallow import Schema, ValidationError, fields, missing

from service.vocabulary import kinds
from service.vocabulary.facts import CATALOGUE, Fact
from service.vocabulary.identifiers import FORMS_SHOWN, Form, parse_subject
from service.web.pointers import FieldError, Place, first_of, pointer_of, put, split, step
from service.web.schemas.envelope import NAMED, TRACE, Envelope, extension_errors, type_hint
from service.web.schemas.fields import AnyField, schema_of
from service.web.schemas.messages import NULL, pointed
from service.web.schemas.plain import is_plain

DATA_SCHEMAS: Mapping[str, Schema] = {type_: schema_of(fact) for type_, fact in CATALOGUE.items()}
_ENVELOPE = Envelope()
_READ_MEMBERS = msgspec.json.Decoder(dict[str, msgspec.Raw]).decode
_PUBLIC_ATTRIBUTES = NAMED | set(TRACE)

NULLS_MAX = 1000
"""How many nulls of an event are told of."""


def check_event(members: object) -> list[FieldError]:
    """Everything that is wrong with one event as posted; pointers are within the event."""
    if is_plain(members):
        return []
    return judge_event(members)


def judge_event(members: object) -> list[FieldError]:
    """The same by the schemas alone, whatever the event."""
    if not isinstance(members, dict):
        return [FieldError("", "Write a CloudEvent: an object of attributes.", "not-an-object")]
    errors = _schema_errors(_ENVELOPE, members, "")
    if not NAMED.issuperset(members):
        errors += extension_errors(members)
    type_ = members.get("type")
    fact = CATALOGUE.get(type_) if isinstance(type_, str) else None
    if fact is None:
        return [_with_hint(error, type_) for error in errors]
    if isinstance(members.get("subject"), str):
        errors += _subject_errors(members["subject"], fact)
    if isinstance(members.get("data"), dict):
        errors += _data_errors(members["data"], fact)
    return errors


def _with_hint(error: FieldError, type_: object) -> FieldError:
    return error._replace(detail=type_hint(type_)) if error.code == "unknown-type" else error


def schema_errors(schema: Schema, value: object) -> list[FieldError]:
    """What a schema finds wrong with a whole body."""
    try:
        schema.load(value)  # type: ignore[arg-type]  # a body may be anything; load says so
    except ValidationError as error:
        return list(pointed(error.messages, "", fields.Nested(schema)))
    return []


def _schema_errors(schema: Schema, value: dict[str, Any], pointer: str) -> list[FieldError]:
    """What a schema finds wrong; asking its fields one by one costs half of loading it."""
    errors: list[FieldError] = []
    for name, field in schema.fields.items():
        try:
            field.deserialize(value.get(name, missing), name, value)
        except ValidationError as error:
            errors.extend(pointed(error.messages, pointer + step(name), field))
    return errors


def _subject_errors(text: str, fact: type[Fact]) -> list[FieldError]:
    subject = parse_subject(text)
    if subject is not None and subject.form in fact.SUBJECTS:
        return []
    wanted = " or ".join(FORMS_SHOWN[form] for form in Form if form in fact.SUBJECTS)
    return [FieldError("/subject", f"The subject of {fact.TYPE} is {wanted}.", "not-a-subject")]


def _data_errors(data: dict[str, Any], fact: type[Fact]) -> list[FieldError]:
    schema = DATA_SCHEMAS[fact.TYPE]
    nulls = (
        FieldError(pointer_of(place), str(NULL), NULL.code)
        for place in _nulls_beside(schema, data, (None, "data"))
    )
    return [*_schema_errors(schema, data, "/data"), *first_of(nulls, NULLS_MAX)]


def _nulls_beside(schema: Schema, value: dict[str, Any], at: Place) -> Iterator[Place]:
    """Places of the nulls in members that a schema does not name, nested ones too."""
    for name, inner in value.items():
        field = schema.fields.get(name)
        if field is None:
            yield from _nulls(inner, (at, name))
        else:
            yield from _nulls_within(field, inner, (at, name))


def _nulls_within(field: AnyField, value: object, at: Place) -> Iterator[Place]:
    if isinstance(field, fields.Nested) and isinstance(value, dict):
        yield from _nulls_beside(field.schema, value, at)
    elif isinstance(field, fields.List) and isinstance(value, list):
        for place, inner in enumerate(value):
            yield from _nulls_within(field.inner, inner, (at, place))


def _nulls(value: object, at: Place) -> Iterator[Place]:
    """Places of the nulls in a value that no schema describes."""
    if value is None:
        yield at
    elif isinstance(value, dict | list):
        for name, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _nulls(inner, (at, name))


# what stays of a value in the public body, the rest going into the dict under its pointer
_Part = Callable[[Any, str, dict[str, Any]], Any]


def _splitter(kind: kinds.Kind) -> _Part | None:
    """How a value of a kind is split; None if all of it is public."""
    if isinstance(kind, kinds.Group):
        return _group_splitter(kind.of)
    if isinstance(kind, kinds.Listing | kinds.Table):
        inner = _splitter(kind.of)
        if inner is None:
            return None

        def split_each(value: Any, pointer: str, personal: dict[str, Any]) -> Any:
            if isinstance(value, dict):
                return {
                    name: inner(item, pointer + step(name), personal)
                    for name, item in value.items()
                }
            return [inner(item, pointer + step(at), personal) for at, item in enumerate(value)]

        return split_each
    return None


def _group_splitter(cls: type) -> _Part:
    public = {}
    for member in kinds.members(cls):
        if not _is_personal(member.kind):
            public[member.name] = _splitter(member.kind)

    def split_group(value: Any, pointer: str, personal: dict[str, Any]) -> Any:
        kept = {}
        for name, item in value.items():
            if name not in public:
                personal[pointer + step(name)] = item
                continue
            part = public[name]
            kept[name] = item if part is None else part(item, pointer + step(name), personal)
        return kept

    return split_group


def _is_personal(kind: kinds.Kind) -> bool:
    """Whether a member is set apart as a whole: text, and lists and tables of text."""
    if isinstance(kind, kinds.Listing | kinds.Table):
        return _is_personal(kind.of)
    return isinstance(kind, kinds.Text)


_SPLITTERS = {type_: _group_splitter(fact) for type_, fact in CATALOGUE.items()}


def split_personal(members: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, Any]]:
    """A checked event's public members, and its personal ones by JSON pointer.

    Personal are free text, every member of the data that its fact does not name, and every
    extension attribute but those of a trace.
    """
    public: dict[str, Any] = {}
    personal: dict[str, Any] = {}
    for name, value in members.items():
        if name in _PUBLIC_ATTRIBUTES:
            public[name] = value
        else:
            personal[step(name)] = value
    public["data"] = _SPLITTERS[members["type"]](members["data"], "/data", personal)
    return public, personal


def is_member(type_: str, pointer: str) -> bool:
    """Whether a type of event has the member at a JSON pointer into one of its events.

    What it does not have is kept aside and without effect: its name may be misspelt.
    """
    kind: kinds.Kind = kinds.Group(CATALOGUE[type_])
    of_data, *steps = split(pointer)
    if of_data != "data":
        return False
    for at in steps:
        if isinstance(kind, kinds.Group):
            found = _kinds_of(kind.of).get(at)
            if found is None:
                return False
            kind = found
        elif isinstance(kind, kinds.Listing | kinds.Table):
            kind = kind.of
        else:
            return False
    return True


@cache
def _kinds_of(cls: type) -> Mapping[str, kinds.Kind]:
    return {member.name: member.kind for member in kinds.members(cls)}


def raw_members(packed: bytes) -> dict[str, bytes]:
    """Personal members by JSON pointer, each as the JSON it was kept in.

    Nothing within them is made into objects, which would take a multiple of its bytes.
    """
    return {name: bytes(raw) for name, raw in _READ_MEMBERS(packed).items()}


def merge_personal(body: dict[str, Any], personal: Mapping[str, Any]) -> dict[str, Any]:
    """The event with its personal members back in place; the body is changed."""
    for pointer, value in personal.items():
        put(body, pointer, value)
    return body
