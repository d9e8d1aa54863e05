"""The events that led to where an episode stands."""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import Connection, and_, or_, select

from service.log.read import Stored
from service.log.schema import event, personal
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
) -> list[Stored]:
    """At most `limit` events after a position, in order, less those at positions `without`.

    The bounds of position and of the time at which they happened are inclusive.
    """
    beneath = and_(event.c.subject > about.episode + "/", event.c.subject < about.episode + "0")
    conditions = [
        event.c.studio == studio,
        event.c.position > after,
        event.c.position <= until_position,
        or_(
            event.c.subject.in_([about.episode, *about.subjects]),
            beneath,
            event.c.position.in_(about.positions),
        ),
        event.c.position.not_in(without),
    ]
    if time_until_us is not None:
        conditions.append(event.c.time_at <= instant(time_until_us))
    same = and_(personal.c.studio == event.c.studio, personal.c.position == event.c.position)
    asked = (
        select(event.c.position, event.c.body, personal.c.content)
        .select_from(event.outerjoin(personal, same))
        .where(*conditions)
        .order_by(event.c.position)
        .limit(limit)
    )
    return [Stored(*row) for row in connection.execute(asked)]
