"""A recorded event as the core sees it: a fact about a subject, with both its times."""

from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Any, NamedTuple, TypeAlias

import msgspec
from msgspec import Struct

from service.vocabulary.facts import CATALOGUE, Fact
from service.vocabulary.instants import parse_instant
from service.vocabulary.kinds import Member, Whole, members, reviver
from service.vocabulary.upcasting import UPCASTERS, Upcaster, upcaster


class Event(Struct, frozen=True, gc=False):
    """One fact in the log.

    `position` counts from 1 (while only proposed, the position it would get); `time_us` is when
    it happened, `recorded_us` when the log took it, both microseconds since the epoch. `role` is
    the poster's, "" where it was recorded before roles were kept. `cause` is the order whose
    approval made it, "" for what was posted.
    """

    position: int
    source: str
    id: str
    subject: str
    time_us: int
    recorded_us: int
    poster: str
    fact: Fact
    role: str = ""
    cause: str = ""


class UnknownTypeError(LookupError):
    """The body names a type, or a version of it, that this release does not know.

    A fault, never passed over.
    """


class _Body(Struct):
    """What the log's canonical JSON says of an event; the rest of it the core has no use for."""

    type: str
    position: int
    source: str
    id: str
    subject: str
    time: str
    recordedat: str
    poster: str
    data: msgspec.Raw
    posterrole: str = ""
    cause: str = ""
    typeversion: int = 1


def _same_in_log(member: Member) -> bool:
    # canonical JSON writes 3.0 as 3
    return not member.personal and (member.same or isinstance(member.kind, Whole))


Read: TypeAlias = Callable[[bytes], Any]
"""From the JSON of an event's data to the fact."""


class Readers(NamedTuple):
    """What reads each type of fact: in its first version, which most of a log is, and in others."""

    first: Mapping[str, Read]
    others: Mapping[tuple[str, int], Read]


def _reader(cls: type[Fact]) -> Read:
    """From the JSON of checked members to the fact.

    Most of a log are facts whose members are the same in JSON and in the core. What they say
    besides item and time they say again and again, and one object serves for all of them.
    """
    if all(_same_in_log(member) for member in members(cls)):
        return lru_cache(maxsize=1 << 13)(msgspec.json.Decoder(cls).decode)
    revive = reviver(cls)
    return lambda data: revive(msgspec.json.decode(data))


def _reader_of_past(cls: type[Fact], upcast: Upcaster) -> Read:
    revive = reviver(cls)
    return lambda data: revive(upcast(msgspec.json.decode(data)))


def readers_of(
    catalogue: Mapping[str, type[Fact]], steps: Mapping[tuple[str, int], Upcaster]
) -> Readers:
    """The readers of a catalogue, for every version there was. Raises MissingUpcasterError."""
    made: dict[tuple[str, int], Read] = {}
    for type_, fact in catalogue.items():
        for version in range(1, fact.VERSION):
            past = upcaster(type_, version, fact.VERSION, steps)
            made[type_, version] = _reader_of_past(fact, past)
        made[type_, fact.VERSION] = _reader(fact)
    first = {type_: read for (type_, version), read in made.items() if version == 1}
    return Readers(first, {key: read for key, read in made.items() if key[1] != 1})


_READERS = readers_of(CATALOGUE, UPCASTERS)
_read_body = msgspec.json.Decoder(_Body).decode


def read_event(body: bytes, readers: Readers = _READERS) -> Event:
    """The event of a body as the log holds it.

    One of a past version is read as the present one. Raises UnknownTypeError for a type or version
    that is not in the catalogue, msgspec.DecodeError for what is not the body of an event.
    """
    recorded = _read_body(body)
    version = recorded.typeversion
    if version == 1:
        read = readers.first.get(recorded.type)
    else:
        read = readers.others.get((recorded.type, version))
    if read is None:
        raise UnknownTypeError(
            recorded.type if version == 1 else f"{recorded.type}, version {version}"
        )
    return Event(
        recorded.position,
        recorded.source,
        recorded.id,
        recorded.subject,
        parse_instant(recorded.time),
        parse_instant(recorded.recordedat),
        recorded.poster,
        read(bytes(recorded.data)),
        recorded.posterrole,
        recorded.cause,
    )
