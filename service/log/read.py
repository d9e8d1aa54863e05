"""Reading the log."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any, NamedTuple

from psycopg.pq.abc import PGresult
from sqlalchemy import ColumnElement, Connection, and_, func, or_, select

from service.log import wire
from service.log.append import read_head
from service.log.engine import driver_cursor
from service.log.prepared import Call, rows_of, run_alone, statement
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


PAGE_BYTES_MAX = 2 * 1024 * 1024
"""How much a page of events has at most, personal text included, unless its first has more."""
READ_EVENTS = 5000
"""How many events are fetched at a time where all that meet some conditions are read."""


_PERSONAL = "SELECT position, content FROM personal WHERE studio = %s AND position = ANY (%s)"


class Stored(NamedTuple):
    """An event as it is stored: its position and its canonical bytes."""

    position: int
    body: bytes


class Rows(NamedTuple):
    """Events in order of position, and whether more follow that meet the same conditions."""

    rows: list[Stored]
    more: bool


def bodies(
    connection: Connection,
    studio: str,
    after: int,
    until: int | None = None,
    limit: int | None = None,
) -> list[tuple[int, bytes]]:
    """Positions and bodies after a position, up to another one inclusive, in order."""
    call = asking_bodies(studio, after, until, limit)
    return bodies_of(run_alone(connection, call.statement, *call.values))


def asking_bodies(
    studio: str, after: int, until: int | None = None, limit: int | None = None
) -> Call:
    """The call that `bodies` makes, for `bodies_of` to read."""
    values = (
        studio.encode(),
        wire.whole(after),
        wire.whole(_MOST if until is None else until),
        wire.whole(_MOST if limit is None else limit),
    )
    return Call(_BODIES, values)


def bodies_of(found: PGresult) -> list[tuple[int, bytes]]:
    """The positions and bodies that were found."""
    return [(wire.read_whole(position), body) for position, body in rows_of(found)]


def strikes(connection: Connection, studio: str, after: int, until: int) -> list[bytes]:
    """Bodies of the strikes after a position, up to another one inclusive, in order."""
    query = (
        select(event.c.body)
        .where(event.c.studio == studio, event.c.type == "event.struck")
        .where(event.c.position > after, event.c.position <= until)
        .order_by(event.c.position)
    )
    return [*connection.execute(query).scalars()]


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
    bytes_max: int = PAGE_BYTES_MAX,
) -> list[Stored]:
    """At most `limit` events after a position, in order, that meet every condition given.

    Fewer where they would be more than `bytes_max`; none only where there are no more.
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
    return stored_where(connection, conditions, limit, bytes_max).rows


def every(
    connection: Connection,
    studio: str,
    *,
    after: int = 0,
    read_events: int = READ_EVENTS,
    **filters: Any,
) -> Iterator[Stored]:
    """All events after a position, in order, that meet every condition of `page` that is given.

    They are fetched `read_events` at a time.
    """
    while rows := page(connection, studio, after=after, limit=read_events, **filters):
        yield from rows
        after = rows[-1].position


def stored_where(
    connection: Connection,
    conditions: Iterable[ColumnElement[bool]],
    limit: int,
    bytes_max: int = PAGE_BYTES_MAX,
) -> Rows:
    """At most `limit` events that meet conditions on `schema.event`, in order.

    Fewer where they and their personal text would be more than `bytes_max`, one at least.
    """
    same = and_(personal.c.studio == event.c.studio, personal.c.position == event.c.position)
    size = func.octet_length(event.c.body) + func.coalesce(func.octet_length(personal.c.content), 0)
    first = (
        select(event.c.position, event.c.body, size.label("size"))
        .select_from(event.outerjoin(personal, same))
        .where(*conditions)
        .order_by(event.c.position)
        .limit(limit + 1)
        .subquery()
    )
    # summed where the rows are, so that none is fetched that is not shown
    summed = select(
        first,
        func.sum(first.c.size).over(order_by=first.c.position).label("total"),
        func.row_number().over(order_by=first.c.position).label("number"),
        func.count().over().label("found"),
    ).subquery()
    query = (
        select(summed.c.position, summed.c.body, summed.c.found)
        .where(
            summed.c.number <= limit,
            or_(summed.c.total <= bytes_max, summed.c.number == 1),
        )
        .order_by(summed.c.position)
    )
    found = connection.execute(query).all()
    rows = [Stored(row.position, row.body) for row in found]
    return Rows(rows, bool(found) and found[0].found > len(rows))


def position_at(connection: Connection, studio: str, recorded_at_us: int) -> int:
    """The last position recorded at or before an instant; 0 if there is none.

    Raises `UnknownStudioError`.
    """
    # By bisection over the primary key: positions are dense and recording never goes back, so
    # no index need be kept for a question that is asked seldom.
    positions = range(1, read_head(connection, studio).position + 1)

    def recorded_at(position: int) -> datetime:
        query = select(event.c.recorded_at).where(
            event.c.studio == studio, event.c.position == position
        )
        at: datetime = connection.execute(query).scalar_one()
        return at

    return bisect_right(positions, instant(recorded_at_us), key=recorded_at)


def personal_at(
    connection: Connection, studio: str, positions: Sequence[int]
) -> Iterator[tuple[int, bytes]]:
    """Position and canonical bytes of the personal text of these events, where they have any.

    Rows come one after the other and are not kept, since their text may be long.
    """
    if positions:
        with driver_cursor(connection) as cursor:
            yield from cursor.stream(_PERSONAL, (studio, list(positions)), binary=True)


def text_sizes_at(connection: Connection, studio: str, positions: Sequence[int]) -> dict[int, int]:
    """How many bytes the personal text of these events has, for those that have any."""
    query = select(personal.c.position, func.octet_length(personal.c.content)).where(
        *_of_positions(studio, positions)
    )
    return dict(connection.execute(query).all())


def _of_positions(studio: str, positions: Sequence[int]) -> tuple[ColumnElement[bool], ...]:
    # one parameter however many there are: a statement has room for 65,535
    return personal.c.studio == studio, personal.c.position == func.any(list(positions))


def salted_at(connection: Connection, studio: str, position: int) -> tuple[bytes, bytes] | None:
    """The salt and the canonical bytes of an event's personal text, while there is any."""
    query = select(personal.c.salt, personal.c.content).where(
        personal.c.studio == studio, personal.c.position == position
    )
    found = connection.execute(query).first()
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
