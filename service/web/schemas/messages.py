"""Messages that keep a stable code on their way through marshmallow, and come out as errors."""

from collections.abc import Iterator, Mapping
from typing import Any

from marshmallow import fields

from service.web.pointers import FieldError, step


class Message(str):
    """A message with its code; marshmallow formats messages, which would lose the code."""

    __slots__ = ("code",)
    code: str

    def __new__(cls, code: str, detail: str) -> "Message":
        """A message that names the remedy, under a stable code."""
        message = super().__new__(cls, detail)
        message.code = code
        return message

    def format(self, *_: object, **__: object) -> "Message":
        """The message itself; it has no places to fill."""
        return self


MISSING = Message("missing", "This must be said.")
NULL = Message("null", "null says nothing here: leave the member out.")
NOT_AN_OBJECT = Message("not-an-object", "Write an object of named members.")


def pointed(messages: Any, pointer: str, field: fields.Field[Any] | None) -> Iterator[FieldError]:
    """The errors in what marshmallow collected for `field` (None: for a schema) at `pointer`."""
    if isinstance(messages, Mapping):
        for name, inner in messages.items():
            if name == "_schema":
                yield from pointed(inner, pointer, None)
            elif isinstance(field, fields.Dict):
                # marshmallow tells apart what is wrong with a key and with its value
                for part, message in inner.items():
                    below = field.value_field if part == "value" else None
                    yield from pointed(message, pointer + step(name), below)
            else:
                yield from pointed(inner, pointer + step(name), _inner(field, name))
        return
    for message in messages if isinstance(messages, list) else [messages]:
        yield FieldError(
            pointer, str(message), message.code if isinstance(message, Message) else "invalid"
        )


def _inner(field: fields.Field[Any] | None, name: object) -> fields.Field[Any] | None:
    if isinstance(field, fields.List):
        return field.inner
    if isinstance(field, fields.Nested):
        return field.schema.fields.get(str(name))
    return None
