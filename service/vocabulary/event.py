"""A recorded event as the core sees it: a fact about a subject, with both its times."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from service.vocabulary.facts import CATALOGUE, Fact
from service.vocabulary.instants import parse_instant
from service.vocabulary.kinds import reviver


class Event(NamedTuple):
    """One fact in the log.

    `position` counts from 1 (while only proposed, the position it would get); `time_us` is when
    it happened, `recorded_us` when the log took it, both microseconds since the epoch.
    """

    position: int
    source: str
    id: str
    subject: str
    time_us: int
    recorded_us: int
    poster: str
    fact: Fact


class UnknownTypeError(LookupError):
    """The body names a type this release does not know: a fault, never passed over."""


_REVIVERS = {type_: reviver(fact) for type_, fact in CATALOGUE.items()}


def revive_event(body: Mapping[str, Any]) -> Event:
    """The event of a checked body.

    Raises UnknownTypeError for a type that is not in the catalogue.
    """
    revive = _REVIVERS.get(body["type"])
    if revive is None:
        raise UnknownTypeError(body["type"])
    return Event(
        body["position"],
        body["source"],
        body["id"],
        body["subject"],
        parse_instant(body["time"]),
        parse_instant(body["recordedat"]),
        body["poster"],
        revive(body["data"]),
    )
