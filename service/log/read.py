"""Reading the log."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple, cast

from sqlalchemy import ColumnElement, Connection, and_, func, or_, select

from service.log import wire
from service.log.append import read_head
from service.log.engine import raw_cursor
from service.log.prepared import rows_of, run_alone, statement
from service.log.schema import event, personal
from service.vocabulary.instants import instant

# What may follow a subject in the names of what lies beneath it.
_BENEATH_SHOW = ("-", ":")
_BENEATH_EPISODE = ("/",)


_MOST = 2**63 - 1
_BODIES = statement(
    "bodies",
    "SELECT position, body FROM event WHERE studio = $1 AND position > $2 AND position <= $3 "
    "ORDER BY position LIMIT $4",
)


class Stored(NamedTuple):
    """An event as it is stored: canonical bytes, and those of its personal text while it exists."""

    position: int
    body: bytes
    personal: bytes | None


def bodies(
    connection: Connection,
    studio: str,
    after: int,
    until: int | None = None,
    limit: int | None = None,
) -> list[tuple[int, bytes]]:
    """Positions and bodies after a position, up to another one inclusive, in order."""
    found = run_alone(
        connection,
        _BODIES,
        studio.encode(),
        wire.whole(after),
        wire.whole(_MOST if until is None else until),
        wire.whole(_MOST if limit is None else limit),
    )
    return [(wire.read_whole(position), body) for position, body in rows_of(found)]


def strikes(connection: Connection, studio: str, after: int, until: int) -> list[bytes]:
    """Bodies of the strikes after a position, up to another one inclusive, in order."""
    statement = (
        "SELECT body FROM event WHERE studio = %s AND type = 'event.struck' AND position > %s "
        "AND position <= %s ORDER BY position"
    )
    with raw_cursor(connection) as cursor:
        return [body for (body,) in cursor.execute(statement, (studio, after, until))]


def page(
    connection: Connection,
    studio: str,
    *,
    after: int,
    limit: int,
    subject: str | None = None,
    type: str | None = None,
    department: str | None = None,
    time_from_us: int | None = None,
    time_until_us: int | None = None,
    until_position: int | None = None,
    positions: Sequence[int] | None = None,
) -> list[Stored]:
    """At most `limit` events after a position, in order, that meet every condition given.

    `subject` means itself and everything beneath: a show its episodes, their scenes and its
    elements, an episode its scenes. The bounds of time and position are inclusive.
    """
    conditions: list[ColumnElement[bool]] = [event.c.studio == studio, event.c.position > after]
    if subject is not None:
        conditions.append(at_or_beneath(subject))
    if type is not None:
        conditions.append(event.c.type == type)
    if department is not None:
        conditions.append(event.c.department == department)
    if time_from_us is not None:
        conditions.append(event.c.time_at >= instant(time_from_us))
    if time_until_us is not None:
        conditions.append(event.c.time_at <= instant(time_until_us))
    if until_position is not None:
        conditions.append(event.c.position <= until_position)
    if positions is not None:
        # one parameter however many there are: a statement has room for 65,535
        conditions.append(event.c.position == func.any(list(positions)))
    return stored_where(connection, conditions, limit)


def stored_where(
    connection: Connection, conditions: Iterable[ColumnElement[bool]], limit: int
) -> list[Stored]:
    """At most `limit` events that meet conditions on `schema.event`, in order."""
    same = and_(personal.c.studio == event.c.studio, personal.c.position == event.c.position)
    asked = (
        select(event.c.position, event.c.body, personal.c.content)
        .select_from(event.outerjoin(personal, same))
        .where(*conditions)
        .order_by(event.c.position)
        .limit(limit)
    )
    return [Stored(*row) for row in connection.execute(asked)]


def position_at(connection: Connection, studio: str, recorded_at_us: int) -> int:
    """The last position recorded at or before an instant; 0 if there is none.

    Raises `UnknownStudioError`.
    """
    # By bisection over the primary key: positions are dense and recording never goes back, so
    # no index need be kept for a question that is asked seldom.
    statement = "SELECT recorded_at FROM event WHERE studio = %s AND position = %s"
    positions = range(1, read_head(connection, studio).position + 1)
    with raw_cursor(connection) as cursor:

        def recorded_at(position: int) -> datetime:
            found = cursor.execute(statement, (studio, position)).fetchone()
            return cast("tuple[datetime]", found)[0]

        return bisect_right(positions, instant(recorded_at_us), key=recorded_at)


def personal_at(connection: Connection, studio: str, positions: Sequence[int]) -> dict[int, bytes]:
    """The canonical bytes of the personal text of these events, for those that have any."""
    asked = select(personal.c.position, personal.c.content).where(
        personal.c.studio == studio, personal.c.position == func.any(list(positions))
    )
    return {row.position: row.content for row in connection.execute(asked)}


def salted_at(connection: Connection, studio: str, position: int) -> tuple[bytes, bytes] | None:
    """The salt and the canonical bytes of an event's personal text, while there is any."""
    asked = select(personal.c.salt, personal.c.content).where(
        personal.c.studio == studio, personal.c.position == position
    )
    found = connection.execute(asked).first()
    return None if found is None else (found.salt, found.content)


def at_or_beneath(subject: str) -> ColumnElement[bool]:
    """Whether an event is about a subject or what lies beneath it, as `page` has it."""
    if "/" in subject or ":" in subject:
        beneath: tuple[str, ...] = ()  # a scene or an element
    else:
        beneath = _BENEATH_EPISODE if "-" in subject else _BENEATH_SHOW
    # Ranges, which an index serves: the column is in the order of code points, and what begins
    # with a text comes before the text with its last character replaced by the next.
    ranges = (
        and_(
            event.c.subject >= subject + mark,
            event.c.subject < subject + chr(ord(mark) + 1),
        )
        for mark in beneath
    )
    return or_(event.c.subject == subject, *ranges)
