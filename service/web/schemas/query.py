"""Fields for arguments of a query, which come as text, and arguments that several routes share."""

import re
from collections.abc import Iterable
from typing import Any

from marshmallow import fields, validate

from service.vocabulary import kinds
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.identifiers import Form, parse_subject
from service.web.schemas.fields import AnyField, field_of, messages_of
from service.web.schemas.messages import Message
from service.web.schemas.subjects import pattern_of
from service.web.strict_json import WHOLE_MAX

_DIGITS = re.compile(r"-?[0-9]{1,16}")


def described(note: str) -> dict[str, str]:
    """The metadata of a field that is only described."""
    return {"description": note}


class Counted(fields.Integer):
    """An integer in plain digits; Python alone would take blanks, underscores and more."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str) and _DIGITS.fullmatch(value):
            return int(value)
        raise self.make_error("invalid", input=value)


class SubjectText(fields.String):
    """The text of a subject."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str) and parse_subject(value) is not None:
            return value
        raise self.make_error("invalid", input=value)


def counted(least: int, most: int, note: str, **how: Any) -> Counted:
    """A whole number of a query."""
    message = Message("not-a-whole", f"Write a whole number from {least} to {most}.")
    return Counted(
        error_messages=messages_of(message),
        validate=validate.Range(least, most, error=message),
        metadata={"description": note},
        **how,
    )


def subject(note: str, **how: Any) -> SubjectText:
    """A subject of a query."""
    message = Message(
        "not-a-subject", "Write studio, SHOW, SHOW-EPISODE, SHOW-EPISODE/SCENE or SHOW:ELEMENT."
    )
    metadata = {"description": note, "pattern": pattern_of(tuple(Form))}
    return SubjectText(error_messages=messages_of(message), metadata=metadata, **how)


def one_of(among: Iterable[str], note: str = "", **how: Any) -> fields.String:
    """One of some words of a query; the error names them all."""
    choices = tuple(among)
    message = Message("not-a-choice", f"Write one of: {', '.join(choices)}.")
    return fields.String(
        error_messages=messages_of(message),
        validate=validate.OneOf(choices, error=message),
        metadata={"description": note} if note else {},
        **how,
    )


def flag(note: str) -> fields.Boolean:
    """Whether something is so: true or false, and no other word for them."""
    message = Message("not-a-flag", "Write true or false.")
    return fields.Boolean(
        truthy={"true"},
        falsy={"false"},
        error_messages=messages_of(message),
        metadata={"description": note},
    )


def department(note: str) -> AnyField:
    """A department of a query."""
    return field_of(kinds.DEPARTMENT, note=note)


def cursor() -> fields.String:
    """The opaque cursor of a page."""
    return fields.String(
        metadata={"description": "Where to go on, from the last page; opaque, of this query only."}
    )


def limit(most: int = 1000, default: int = 100) -> Counted:
    """How many to answer with at most."""
    return counted(1, most, "How many to answer with at most.", load_default=default)


def min_position() -> Counted:
    """The position that an answer must have seen."""
    note = "Answer from the log up to this position at least; waits for it a little."
    return counted(0, WHOLE_MAX, note, load_default=0)


def event_type() -> fields.String:
    """A type of event of a query."""
    message = Message("unknown-type", "Write a type of event listed in /openapi.json.")
    return fields.String(
        validate=validate.OneOf(tuple(CATALOGUE), error=message),
        metadata={"description": "Only events of this type."},
    )
