"""From a kind of value to the marshmallow field that checks it.

The fields check and give the JSON value back as it came; reviving is the core's. All are stock
fields or narrow ones of stock, so that their descriptions can be generated.
"""

import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from marshmallow import INCLUDE, RAISE, Schema, ValidationError, fields, validate
from marshmallow.types import ErrorMessages

from service.vocabulary import kinds
from service.vocabulary.instants import parse_instant
from service.vocabulary.quantities import from_e4
from service.web.schemas.messages import MISSING, NOT_AN_OBJECT, NULL, Message

AnyField = fields.Field[Any]
# a day or two are added to dates, and minutes are counted: the ends of the calendar are not safe
YEAR_FIRST, YEAR_LAST = 1900, 2199
_DAY = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_CENTURIES = "|".join(map(str, range(YEAR_FIRST // 100, YEAR_LAST // 100 + 1)))
_DAY_SHOWN = rf"^(?:{_CENTURIES})[0-9]{{2}}-[0-9]{{2}}-[0-9]{{2}}"
_MOMENT_SHOWN = (
    rf"{_DAY_SHOWN}[Tt][0-9]{{2}}:[0-9]{{2}}:[0-5][0-9](?:\.[0-9]{{1,6}})?"
    r"(?:[Zz]|[+-][0-9]{2}:[0-9]{2})$"
)
_CLOCK = r"^(?:[01][0-9]|2[0-3]):[0-5][0-9]$"


class Matches(validate.Regexp):
    """A pattern that all of the text must match; a stock one lets a last line feed pass."""

    def __call__(self, value: Any) -> Any:
        """The value."""
        if self.regex.fullmatch(value) is None:
            raise ValidationError(self.error)
        return value


class Flag(fields.Boolean):
    """True or false and nothing that looks like it."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, bool):
            return value
        raise self.make_error("invalid", input=value)


class Whole(fields.Integer):
    """An integer; 3.0 is one, true and "3" are not."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if type(value) is int or (isinstance(value, float) and value.is_integer()):
            return int(value)
        raise self.make_error("invalid", input=value)


class Quantity(fields.Float):
    """A number with at most four decimals."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if type(value) is not int and not isinstance(value, float):
            raise self.make_error("invalid", input=value)
        # round is exact in decimals, so this says what `to_e4` would, at a fifth of its cost
        if round(value, 4) != value:
            raise self.make_error("decimals", input=value)
        return value


class Day(fields.Date):
    """A date as YYYY-MM-DD; Python alone would take week dates and more."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if isinstance(value, str) and _DAY.fullmatch(value):
            try:
                found = date.fromisoformat(value)
            except ValueError:
                raise self.make_error("invalid", input=value) from None
            if YEAR_FIRST <= found.year <= YEAR_LAST:
                return value
        raise self.make_error("invalid", input=value)


class Moment(fields.AwareDateTime):
    """An instant as RFC 3339 text with a zone."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> Any:
        if not isinstance(value, str):
            raise self.make_error("invalid", input=value)
        try:
            parse_instant(value)
        except ValueError:
            raise self.make_error("invalid", input=value) from None
        if YEAR_FIRST <= int(value[:4]) <= YEAR_LAST:
            return value
        raise self.make_error("invalid", input=value)


def field_of(kind: kinds.Kind, *, required: bool = False, note: str = "") -> AnyField:
    """The field that checks a value of a kind."""
    return _MAKERS[type(kind)](kind, {"required": required, "metadata": _described(note)})


def _described(note: str) -> dict[str, Any]:
    return {"description": note} if note else {}


def messages_of(wrong: Message, **others: Message) -> ErrorMessages:
    """The error messages of a field whose value is of the wrong sort."""
    return {"required": MISSING, "null": NULL, "invalid": wrong, **others}


def text_field(length_max: int, code: str, detail: str, **kwargs: Any) -> fields.String:
    """Text of 1 to `length_max` characters; the detail says so in words."""
    message = Message(code, detail)
    return fields.String(
        error_messages=messages_of(message, invalid_utf8=message),
        validate=[validate.Length(1, length_max, error=message), *kwargs.pop("also", [])],
        **kwargs,
    )


def _text(kind: kinds.Text | kinds.Label, how: dict[str, Any]) -> AnyField:
    detail = f"Write text of 1 to {kind.length_max} characters, or leave the member out."
    if isinstance(kind, kinds.Text):
        how["metadata"] |= {"x-personal": True}
    return text_field(kind.length_max, "not-text", detail, **how)


def _code(kind: kinds.Code, how: dict[str, Any]) -> AnyField:
    message = Message("wrong-form", f"Write {kind.what}, of at most {kind.length_max} characters.")
    return fields.String(
        error_messages=messages_of(message, invalid_utf8=message),
        validate=[
            validate.Length(max=kind.length_max, error=message),
            Matches(kind.pattern, error=message),
        ],
        **how,
    )


def _choice(kind: kinds.Choice, how: dict[str, Any]) -> AnyField:
    message = Message("not-a-choice", f"Write one of: {', '.join(kind.among)}.")
    return fields.String(
        error_messages=messages_of(message, invalid_utf8=message),
        validate=validate.OneOf(kind.among, error=message),
        **how,
    )


def _flag(_: kinds.Kind, how: dict[str, Any]) -> AnyField:
    return Flag(error_messages=messages_of(Message("not-a-flag", "Write true or false.")), **how)


def _whole(kind: kinds.Whole, how: dict[str, Any]) -> AnyField:
    message = Message("not-a-whole", f"Write a whole number from {kind.least} to {kind.most}.")
    return Whole(
        error_messages=messages_of(message),
        validate=validate.Range(kind.least, kind.most, error=message),
        **how,
    )


def _quantity(kind: kinds.Quantity, how: dict[str, Any]) -> AnyField:
    least, most = from_e4(kind.least_e4), from_e4(kind.most_e4)
    message = Message(
        "not-a-quantity", f"Write a number from {least} to {most} with at most 4 decimals."
    )
    return Quantity(
        error_messages=messages_of(message, decimals=message),
        validate=validate.Range(least, most, error=message),
        **how,
    )


def _money(kind: kinds.Money, how: dict[str, Any]) -> AnyField:
    sign = ", with a minus where it is owed back" if kind.signed else ""
    message = Message(
        "not-money", f'Write decimal text with at most 4 decimals, such as "12.50"{sign}.'
    )
    return fields.String(
        error_messages=messages_of(message, invalid_utf8=message),
        validate=Matches(kind.pattern, error=message),
        **how,
    )


def _day(_: kinds.Kind, how: dict[str, Any]) -> AnyField:
    message = Message(
        "not-a-date",
        f"Write a date as YYYY-MM-DD, in the years {YEAR_FIRST} to {YEAR_LAST}.",
    )
    how["metadata"] |= {"pattern": f"{_DAY_SHOWN}$"}
    return Day(error_messages=messages_of(message), **how)


def moment_field(**how: Any) -> Moment:
    """An instant, RFC 3339 with a zone."""
    message = Message(
        "not-an-instant",
        "Write an RFC 3339 date-time with a zone, such as 2031-03-04T09:30:00Z, in the years "
        f"{YEAR_FIRST} to {YEAR_LAST}.",
    )
    metadata = {**how.pop("metadata", {}), "pattern": _MOMENT_SHOWN}
    return Moment(error_messages=messages_of(message), metadata=metadata, **how)


def _moment(_: kinds.Kind, how: dict[str, Any]) -> AnyField:
    return moment_field(**how)


def _clock_time(_: kinds.Kind, how: dict[str, Any]) -> AnyField:
    message = Message("not-a-wall-time", "Write a wall time as HH:MM, from 00:00 to 23:59.")
    return fields.String(
        error_messages=messages_of(message, invalid_utf8=message),
        validate=Matches(_CLOCK, error=message),
        **how,
    )


def _listing(kind: kinds.Listing, how: dict[str, Any]) -> AnyField:
    message = Message("not-a-list", f"Write a list of {kind.least} to {kind.most} values.")
    return fields.List(
        field_of(kind.of),
        error_messages=messages_of(message),
        validate=validate.Length(kind.least, kind.most, error=message),
        **how,
    )


def _table(kind: kinds.Table, how: dict[str, Any]) -> AnyField:
    message = Message("not-a-table", "Write an object whose names are departments.")
    return fields.Dict(
        keys=field_of(kinds.DEPARTMENT),
        values=field_of(kind.of),
        error_messages=messages_of(message),
        **how,
    )


def _group(kind: kinds.Group, how: dict[str, Any]) -> AnyField:
    return fields.Nested(schema_of(kind.of), error_messages=messages_of(NOT_AN_OBJECT), **how)


_MAKERS: Mapping[type, Callable[[Any, dict[str, Any]], AnyField]] = {
    kinds.Text: _text,
    kinds.Label: _text,
    kinds.Code: _code,
    kinds.Choice: _choice,
    kinds.Flag: _flag,
    kinds.Whole: _whole,
    kinds.Quantity: _quantity,
    kinds.Money: _money,
    kinds.Day: _day,
    kinds.Moment: _moment,
    kinds.ClockTime: _clock_time,
    kinds.Listing: _listing,
    kinds.Table: _table,
    kinds.Group: _group,
}


class OpenSchema(Schema):
    """Base of what comes in: unknown members are kept."""

    error_messages = {"type": NOT_AN_OBJECT}  # noqa: RUF012 - marshmallow's own way to say it

    class Meta:
        """Unknown members pass."""

        unknown = INCLUDE


class ClosedSchema(Schema):
    """Base of what comes in and is not kept: unknown members are refused."""

    error_messages = {  # noqa: RUF012 - as above
        "type": NOT_AN_OBJECT,
        "unknown": Message("unknown-member", "There is no such member: leave it out."),
    }

    class Meta:
        """Unknown members are refused."""

        unknown = RAISE


_schemas: dict[type, Schema] = {}


def schema_of(cls: type) -> Schema:
    """The one schema of a dataclass made with `says`; unknown members pass."""
    if cls in _schemas:
        return _schemas[cls]
    made = OpenSchema.from_dict(
        {
            member.name: field_of(member.kind, required=member.required, note=member.note)
            for member in kinds.members(cls)
        },
        name=cls.__name__,
    )
    return _schemas.setdefault(cls, made())
