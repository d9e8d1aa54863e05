"""What answers are made of: one struct each, from which its bytes and its schema both come.

A member says in its annotation what it is: `Annotated[str, note("Its code.")]`. One that an answer
may lack is `... | UnsetType = UNSET`; one that is there and empty is `... | None`. Values stand in
a struct as JSON has them: instants and dates are texts, quantities numbers.
"""

from collections.abc import Iterable, Sequence
from typing import Annotated, Any, TypeAlias, TypeVar, cast

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType

SCHEMAS = "#/components/schemas/"

Instant: TypeAlias = Annotated[str, Meta(extra_json_schema={"format": "date-time"})]
"""An instant, RFC 3339 with a zone."""
Day: TypeAlias = Annotated[str, Meta(extra_json_schema={"format": "date"})]
"""A date."""
Quantity: TypeAlias = float
"""A number with at most four decimals; a whole one is written without any."""


def note(text: str) -> Meta:
    """What a member is, for the document."""
    return Meta(description=text)


def one_of(values: Sequence[str], text: str, *, none: bool = False) -> Meta:
    """What a member is that has one of some values, or null."""
    among: list[str | None] = [*values, None] if none else [*values]
    return Meta(description=text, extra_json_schema={"enum": among})


def many(schema: str, text: str) -> Meta:
    """What a list is whose items have a schema of another kind than a struct's."""
    items = {"items": {"$ref": f"{SCHEMAS}{schema}"}}
    return Meta(description=text, extra_json_schema=items)


_Shape = TypeVar("_Shape", bound="Shown")


class Shown(Struct, kw_only=True):
    """An object of an answer. Readers pass over members they do not know: more may come."""


def encoded(*parts: Shown) -> bytes:
    """One JSON object with the members of all parts, one after the other."""
    written = [msgspec.json.encode(part)[1:-1] for part in parts]
    return b"{" + b",".join(filter(None, written)) + b"}"


def extended(shape: type[_Shape], part: Shown, **more: Any) -> _Shape:
    """A larger object with all members of a smaller one, and others."""
    return shape(**msgspec.structs.asdict(part), **more)


class StoppedShown(Shown):
    """A stoppage that lasts."""

    since_at: Annotated[Instant, note("Since when.")]
    expected_end_at: Annotated[
        Instant | None, note("When it is expected to end; null: nobody knows.")
    ]
    taken_to_end_at: Annotated[
        Instant | None,
        note(
            "When the plan takes it to end: as expected, overdue in the next minute, unknown at "
            "the end of the day. Null without a calendar."
        ),
    ]
    overdue_since_at: Annotated[
        Instant | None, note("When it should have ended, where that is over; null before.")
    ]


class SuppositionShown(StoppedShown):
    """What a plan supposes of a department that does not work."""

    department: Annotated[str, note("The department.")]


class ReadShown(Shown):
    """Where an answer stands."""

    position: Annotated[int, note("The position of the log it is made of.")]
    now: Annotated[Instant, note("The moment it is made at: the studio's time, by the minute.")]
    suppositions: Annotated[
        list[SuppositionShown] | UnsetType,
        note(
            "Departments that do not work, and when the plan takes them to go on; there where the "
            "answer tells dates of the plan and some department does not work at `now`."
        ),
    ] = UNSET
    cautions: Annotated[
        Sequence[str] | UnsetType,
        note("What the figures do not say; there where they are of hours, crews, blame or prices."),
    ] = UNSET


_ITEMS = note("The items of this page.")


class ItemsShown(Shown):
    """The items of a page, and where what follows is to be had."""

    items: Annotated[list[Any], _ITEMS]
    next: Annotated[
        str | UnsetType,
        note(
            "Pass it as `cursor` for what follows; absent on the last page. It is opaque and "
            "belongs to this query."
        ),
    ] = UNSET


def joined(name: str, *shapes: type[Shown], doc: str | None = None, **types: Any) -> type[Shown]:
    """The shape of what `encoded` writes of parts of these shapes, under a name of its own.

    `types` are members' types that are narrower here.
    """
    members = [
        (field.name, types.get(field.name, field.type))
        if field.required
        else (field.name, field.type, field.default)
        for shape in shapes
        for field in msgspec.structs.fields(shape)
    ]
    made: Any = msgspec.defstruct(name, members, bases=(Shown,), kw_only=True)
    made.__doc__ = doc or shapes[-1].__doc__
    return cast("type[Shown]", made)


def answer_of(shape: type[Shown], name: str) -> type[Shown]:
    """The shape of an answer that is one thing."""
    return joined(name, ReadShown, shape)


def page_of(item: type[Shown], name: str, *beside: type[Shown]) -> type[Shown]:
    """The shape of a page of a list; the pages of one list are of one position and moment."""
    listed = joined(f"{name}Items", ItemsShown, items=Annotated[list[item], _ITEMS])  # type: ignore[valid-type]  # a class is had at run time
    doc = f"A page of a list. {item.__doc__}"
    return joined(name, ReadShown, *beside, listed, doc=doc)


def schemas_of(shapes: Iterable[type[Shown]]) -> dict[str, Any]:
    """The JSON Schemas of shapes and of all that they are made of, by name."""
    _, found = msgspec.json.schema_components(shapes, ref_template=SCHEMAS + "{name}")
    return {name: _plain(schema) for name, schema in found.items()}


def _plain(schema: Any) -> Any:
    """A schema without titles, and with null as one of the types where that says the same."""
    if isinstance(schema, list):
        return [_plain(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    made = {name: _plain(part) for name, part in schema.items() if name != "title"}
    if "properties" in schema:  # one of which may be called so
        made["properties"] = {name: _plain(part) for name, part in schema["properties"].items()}
    if "description" in made:
        made["description"] = " ".join(made["description"].split())
    return _with_null_among_types(made)


def _with_null_among_types(schema: dict[str, Any]) -> dict[str, Any]:
    either = schema.get("anyOf", ())
    if (
        len(either) != 2
        or either[1] != {"type": "null"}
        or not isinstance(either[0].get("type"), str)
    ):
        return schema
    rest = {name: part for name, part in schema.items() if name != "anyOf"}
    return {**either[0], "type": [either[0]["type"], "null"], **rest}
