"""The events that led to where an episode stands."""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import Connection, func, or_

from service.log.read import PAGE_BYTES_MAX, Rows, at_or_beneath, stored_where
from service.log.schema import event
from service.vocabulary.instants import instant


class About(NamedTuple):
    """An episode with its scenes, other subjects, and single events by position."""

    episode: str
    subjects: Sequence[str]
    positions: Sequence[int]


def events_about(
    connection: Connection,
    studio: str,
    about: About,
    *,
    after: int,
    limit: int,
    until_position: int,
    without: Sequence[int],
    time_until_us: int | None = None,
    bytes_max: int = PAGE_BYTES_MAX,
) -> Rows:
    """At most `limit` events after a position, in order, less those at positions `without`.

    Fewer where they would be more than `bytes_max`.

    The bounds of position and of the time at which they happened are inclusive.
    """
    conditions = [
        event.c.studio == studio,
        event.c.position > after,
        event.c.position <= until_position,
        or_(
            at_or_beneath(about.episode),
            # one parameter each however many there are: a statement has room for 65,535
            event.c.subject == func.any(list(about.subjects)),
            event.c.position == func.any(list(about.positions)),
        ),
        event.c.position != func.all(list(without)),
    ]
    if time_until_us is not None:
        conditions.append(event.c.time_at <= instant(time_until_us))
    return stored_where(connection, conditions, limit, bytes_max)
