"""What all reads share: their arguments, where they stand, and the fields they are made of."""

from collections.abc import Sequence
from typing import Any

from marshmallow import Schema, fields, validate

from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.fields import AnyField


class ReadQuery(Schema):
    """Arguments of a read of one thing."""

    min_position = query.min_position()


class PageQuery(ReadQuery):
    """Arguments of a read of a list."""

    cursor = query.cursor()
    limit = query.limit()


READ = ReadQuery()
PAGE = PageQuery()


def word(note: str, *, none: bool = False) -> fields.String:
    """A text or a code."""
    return fields.String(required=True, allow_none=none, metadata=described(note))


def choice(among: Sequence[str], note: str, *, none: bool = False) -> fields.String:
    """One of some words."""
    values: Sequence[Any] = [*among, None] if none else among
    return fields.String(
        required=True,
        allow_none=none,
        validate=validate.OneOf(values),
        metadata=described(note),
    )


def whole(note: str, *, none: bool = False) -> fields.Integer:
    """A whole number."""
    return fields.Integer(required=True, allow_none=none, metadata=described(note))


def quantity(note: str, *, none: bool = False) -> fields.Float:
    """A number with at most four decimals."""
    return fields.Float(required=True, allow_none=none, metadata=described(note))


def flag(note: str, *, none: bool = False) -> fields.Boolean:
    """True or false."""
    return fields.Boolean(required=True, allow_none=none, metadata=described(note))


def moment(note: str, *, none: bool = True) -> fields.AwareDateTime:
    """An instant; null where there is none."""
    return fields.AwareDateTime(required=True, allow_none=none, metadata=described(note))


def day(note: str, *, none: bool = True) -> fields.Date:
    """A date; null where there is none."""
    return fields.Date(required=True, allow_none=none, metadata=described(note))


def words(note: str, **how: Any) -> fields.List[str]:
    """A list of texts or codes."""
    return fields.List(fields.String(), metadata=described(note), **({"required": True} | how))


def one(shape: type[Schema], note: str, *, none: bool = False) -> fields.Nested:
    """A nested object."""
    return fields.Nested(shape, required=True, allow_none=none, metadata=described(note))


def several(shape: type[Schema], note: str, **how: Any) -> fields.List[Any]:
    """A list of nested objects."""
    return fields.List(fields.Nested(shape), metadata=described(note), **({"required": True} | how))


class StoppedShown(Shown):
    """A stoppage that lasts."""

    since_at = moment("Since when.", none=False)
    expected_end_at = moment("When it is expected to end; null: nobody knows.")
    taken_to_end_at = moment(
        "When the plan takes it to end: as expected, overdue in the next minute, unknown at the "
        "end of the day. Null without a calendar."
    )
    overdue_since_at = moment("When it should have ended, where that is over; null before.")


class SuppositionShown(StoppedShown):
    """What a plan supposes of a department that does not work."""

    department = word("The department.")


class ReadShown(Shown):
    """Where an answer stands."""

    position = whole("The position of the log it is made of.")
    now = moment("The moment it is made at: the studio's time, by the minute.", none=False)
    suppositions = several(
        SuppositionShown,
        "Departments that do not work, and when the plan takes them to go on; there where the "
        "answer tells dates of the plan and some department does not work at `now`.",
        required=False,
    )
    cautions = words(
        "What the figures do not say; there where they are of hours, crews, blame or prices.",
        required=False,
    )


def page_shown(item: type[Schema], name: str, **beside: AnyField) -> Schema:
    """The schema of a page of a list; the pages of one list are of one position and moment."""
    made = ReadShown.from_dict(
        {
            **beside,
            "items": several(item, "The items of this page."),
            "next": fields.String(
                metadata=described(
                    "Pass it as `cursor` for what follows; absent on the last page. It is opaque "
                    "and belongs to this query."
                )
            ),
        },
        name=name,
    )
    return made()


def with_position(item: type[Schema], name: str) -> Schema:
    """The schema of an answer that is one thing."""
    made: type[Schema] = type(name, (ReadShown, item), {"__doc__": item.__doc__})
    return made()


PAGE_HEADERS = {"Link": "What follows (RFC 8288, rel=next).", "ETag": "The tag of this page."}
READ_HEADERS = {"ETag": "The tag of this answer."}
