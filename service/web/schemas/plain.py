"""A quick yes for events that are plainly in order; whatever else there is, the schemas judge.

Made from the same kinds as the schemas, as types that msgspec checks. It may fail to see that an
event is in order (3.0 for 3, an optional attribute), never the other way round: what it accepts,
the schemas find nothing wrong with.
"""

from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Annotated, Any, Literal

import msgspec
from msgspec import UNSET, Meta, Struct, UnsetType

from service.vocabulary import kinds
from service.vocabulary.facts import CATALOGUE, Fact
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.quantities import ONE_E4
from service.web.schemas.envelope import URI_REFERENCE

_DATE = (
    r"20[0-9]{2}-(?:(?:0[13578]|1[02])-(?:0[1-9]|[12][0-9]|3[01])"
    r"|(?:0[469]|11)-(?:0[1-9]|[12][0-9]|30)|02-(?:0[1-9]|1[0-9]|2[0-8]))"
)
_TIME = r"(?:[01][0-9]|2[0-3]):[0-5][0-9]"
_MOMENT = rf"{_DATE}T{_TIME}:[0-5][0-9](?:\.[0-9]{{1,6}})?(?:Z|[+-][01][0-9]:[0-5][0-9])"


def is_plain(members: object) -> bool:
    """Whether an event is seen at once to be in order."""
    if type(members) is not dict or type(members.get("type")) is not str:
        return False
    shape = _EVENTS.get(members["type"])
    if shape is None:
        return False
    try:
        msgspec.convert(members, shape)
    except msgspec.ValidationError:
        return False
    subject = parse_subject(members["subject"])
    return (
        subject is not None
        and subject.form in CATALOGUE[members["type"]].SUBJECTS
        and _has_few_decimals(members["data"])
    )


def _has_few_decimals(value: Any) -> bool:
    """Whether all quantities are of ten-thousandths, which no type can say."""
    if type(value) is float:
        return round(value, 4) == value
    if type(value) is dict:
        value = value.values()
    elif type(value) is not list:
        return True
    return all(map(_has_few_decimals, value))


def _matching(pattern: str, length_max: int = 256) -> Any:
    return Annotated[str, Meta(pattern=rf"\A(?:{pattern})\Z", max_length=length_max)]


def _text(kind: kinds.Text | kinds.Label) -> Any:
    return Annotated[str, Meta(min_length=1, max_length=kind.length_max)]


def _listing(kind: kinds.Listing) -> Any:
    return Annotated[list[_type(kind.of)], Meta(min_length=kind.least, max_length=kind.most)]  # type: ignore[misc]  # made at run time


def _quantity(kind: kinds.Quantity) -> Any:
    bounds = Meta(ge=kind.least_e4 / ONE_E4, le=kind.most_e4 / ONE_E4)
    return Annotated[float, bounds]


def _group(cls: type) -> type[Struct]:
    """A nested object: every member it must have, and none that it does not name."""
    members: list[Any] = []
    for member in kinds.members(cls):
        type_ = _type(member.kind)
        members.append(
            (member.name, type_) if member.required else (member.name, type_ | UnsetType, UNSET)
        )
    return msgspec.defstruct(cls.__name__, members, kw_only=True, forbid_unknown_fields=True)


_MAKERS: Mapping[type, Callable[[Any], Any]] = {
    kinds.Text: _text,
    kinds.Label: _text,
    kinds.Code: lambda kind: _matching(kind.pattern, kind.length_max),
    kinds.Choice: lambda kind: Literal[kind.among],
    kinds.Flag: lambda _: bool,
    kinds.Whole: lambda kind: Annotated[int, Meta(ge=kind.least, le=kind.most)],
    kinds.Quantity: _quantity,
    kinds.Money: lambda kind: _matching(kind.pattern),
    kinds.Day: lambda _: _matching(_DATE),
    kinds.Moment: lambda _: _matching(_MOMENT),
    kinds.ClockTime: lambda _: _matching(_TIME),
    kinds.Listing: _listing,
    kinds.Table: lambda kind: dict[_type(kinds.DEPARTMENT), _type(kind.of)],  # type: ignore[misc]  # made at run time
    kinds.Group: lambda kind: _group(kind.of),
}


def _type(kind: kinds.Kind) -> Any:
    return _MAKERS[type(kind)](kind)


def _event(type_: str, fact: type[Fact]) -> type[Struct]:
    members: list[Any] = [
        ("specversion", Literal["1.0"]),
        ("id", _matching("[ -~]{1,256}")),
        ("source", _matching(f"(?:{URI_REFERENCE})(?<=.)")),
        ("type", Literal[type_]),
        ("subject", str),
        ("time", _matching(_MOMENT, 64)),
        ("data", _group(fact)),
    ]
    return msgspec.defstruct(f"{fact.__name__}Event", members, forbid_unknown_fields=True)


def _worked_out(shape: type[Struct]) -> type[Struct]:
    """The same; msgspec works out a type at its first use, and not safely for several threads."""
    with suppress(msgspec.ValidationError):
        msgspec.convert({}, shape)
    return shape


_EVENTS = {type_: _worked_out(_event(type_, fact)) for type_, fact in CATALOGUE.items()}
