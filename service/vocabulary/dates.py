"""The dates that a fact says, wherever among its members they are."""

from collections.abc import Callable, Iterator
from datetime import date
from typing import Any

from service.vocabulary import kinds
from service.vocabulary.instants import instant

Dates = Iterator[tuple[str, date]]
"""Each date with the JSON pointer to it."""
_Walk = Callable[[Any], Dates]


def dates_of(fact: object) -> Dates:
    """The dates and instants of a dataclass made with `says`, in the order of its members.

    Pointers are relative to the dataclass, such as `/days_off/3`. An instant is told as its date
    in UTC. Members at None are passed over.
    """
    cls = type(fact)
    if cls not in _walks:
        _walks[cls] = _walk_of_class(cls)
    walk = _walks[cls]
    return iter(()) if walk is None else walk(fact)


# found once for each class: most have no dates
_walks: dict[type, _Walk | None] = {}


def _walk_of_class(cls: type) -> _Walk | None:
    walks = [
        (f"/{member.name}", member.attribute, walk)
        for member in kinds.members(cls)
        if (walk := _walk_of(member.kind)) is not None
    ]
    if not walks:
        return None

    def walk_members(value: Any) -> Dates:
        for pointer, attribute, walk in walks:
            member = getattr(value, attribute)
            if member is not None:
                yield from _beneath(pointer, walk(member))

    return walk_members


def _walk_of(kind: kinds.Kind) -> _Walk | None:
    """How to find the dates in a value of a kind; None where it has none."""
    match kind:
        case kinds.Day():
            return lambda on: iter((("", on),))
        case kinds.Moment():
            return lambda at_us: iter((("", instant(at_us).date()),))
        case kinds.Listing(of=of):
            return _walk_of_pairs(of, enumerate)
        case kinds.Table(of=of):
            return _walk_of_pairs(of, iter)
        case kinds.Group(of=cls):
            return _walk_of_class(cls)
    return None


def _walk_of_pairs(
    of: kinds.Kind, pairs: Callable[[Any], Iterator[tuple[Any, Any]]]
) -> _Walk | None:
    walk = _walk_of(of)
    if walk is None:
        return None

    def walk_pairs(value: Any) -> Dates:
        for name, item in pairs(value):
            yield from _beneath(f"/{name}", walk(item))

    return walk_pairs


def _beneath(pointer: str, dates: Dates) -> Dates:
    return ((pointer + rest, on) for rest, on in dates)
