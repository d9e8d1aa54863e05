"""What is stored beside an event's bytes, derived from them again."""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import orjson

from service.proofs.canonical import LATE_FIRST, LATE_LAST, prepare
from service.proofs.canonical import content_hash as hash_content
from service.vocabulary.event import Event
from service.vocabulary.upcasting import VERSION_MEMBER


class Columns(NamedTuple):
    """The columns of the table `event` that follow from the bytes; instants in microseconds."""

    source: str
    id: str
    type: str
    subject: str
    department: str | None
    time_at_us: int
    recorded_at_us: int
    poster: str


def columns_of(event: Event) -> Columns:
    """The columns of an event as the log wrote them."""
    return Columns(
        event.source,
        event.id,
        event.fact.TYPE,
        event.subject,
        getattr(event.fact, "department", None),
        event.time_us,
        event.recorded_us,
        event.poster,
    )


def content_hash_of(members: Mapping[str, object], personal: Iterable[str]) -> bytes:
    """The hash by which a repeat is recognised, of a recorded event's members.

    `personal` are the names of its personal members, which the body does not have. Raises
    `CanonicalError`.
    """
    posted = {
        name: value
        for name, value in members.items()
        if not LATE_FIRST <= name <= LATE_LAST and name != VERSION_MEMBER
    }
    return hash_content(prepare(posted), personal)


def difference(stored: Columns, derived: Columns) -> str | None:
    """Which columns are stored otherwise than they follow from the bytes; None if none are."""
    names = [
        name.removesuffix("_us")
        for name, one, other in zip(Columns._fields, stored, derived, strict=True)
        if one != other
    ]
    return f"{', '.join(names)} beside it: not what its bytes say" if names else None


def members_of(body: bytes) -> Mapping[str, object]:
    """The members of a recorded event. Raises `orjson.JSONDecodeError`."""
    members = orjson.loads(body)
    return members if isinstance(members, dict) else {}
