"""The trail's rows and its checkpoint in the database: written together, read by pages."""

from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Connection,
    Text,
    and_,
    cast,
    delete,
    func,
    or_,
    select,
    text,
)
from sqlalchemy.dialects.postgresql import ARRAY, insert

from service.log.engine import driver_cursor
from service.log.schema import projection, trail
from service.planning.compare.trail import CAUSES, DateMove, TrailEnd
from service.planning.plan.schedule import RULES_VERSION
from service.vocabulary.zones import ZONE_DATA_VERSION

NAME = "trail"
RULES = f"{RULES_VERSION}, zones {ZONE_DATA_VERSION}, trail 2"
"""What the rows follow from besides the log; built by other rules, they are built anew."""

_LOCK_CLASS = 0x7241  # any number, apart from other uses of advisory locks
_COLUMNS = [trail.c[name] for name in DateMove._fields]
_COPY = f"COPY trail (studio, {', '.join(DateMove._fields)}) FROM STDIN"

# Each episode's last row; the episodes are found by leaps through the key, not row by row.
_ENDS = text("""
WITH RECURSIVE begun AS (
    (SELECT episode FROM trail WHERE studio = :studio ORDER BY episode LIMIT 1)
    UNION ALL
    SELECT (SELECT t.episode FROM trail t WHERE t.studio = :studio AND t.episode > b.episode
            ORDER BY t.episode LIMIT 1)
    FROM begun b WHERE b.episode IS NOT NULL
)
SELECT b.episode, last.number, last.after_min, known.after_min
FROM begun b
CROSS JOIN LATERAL (
    SELECT number, after_min FROM trail t WHERE t.studio = :studio AND t.episode = b.episode
    ORDER BY number DESC LIMIT 1
) last
LEFT JOIN LATERAL (
    SELECT after_min FROM trail t WHERE t.studio = :studio AND t.episode = b.episode
    AND after_min IS NOT NULL ORDER BY number DESC LIMIT 1
) known ON true
""")


class Checkpoint(NamedTuple):
    """How far the rows go: the last minute in them, the last position, and the rules they obey."""

    position: int
    at_min: int
    rules: str


NOTHING = Checkpoint(0, 0, RULES)


class Share(NamedTuple):
    """Rows that share cause, department and retake kind: how many moved a date, and by how much."""

    cause: str
    type: str | None
    department: str | None
    retake_kind: str | None
    moves: int
    lost_min: int
    gained_min: int


class MovedOnError(RuntimeError):
    """Another worker has built on from the same checkpoint; nothing was written."""


def try_lock(connection: Connection, studio: str) -> bool:
    """Become the one who builds a studio's trail, until `unlock` or the end of the session."""
    with connection.begin():
        return bool(connection.scalar(select(func.pg_try_advisory_lock(*_lock(studio)))))


def wait_for_lock(connection: Connection, studio: str) -> None:
    """The same, after whoever builds it now."""
    with connection.begin():
        connection.execute(select(func.pg_advisory_lock(*_lock(studio))))


def unlock(connection: Connection, studio: str) -> None:
    """Release the lock, so that another worker may build the trail."""
    with connection.begin():
        connection.execute(select(func.pg_advisory_unlock(*_lock(studio))))


def _lock(studio: str) -> tuple[Any, ...]:
    return _LOCK_CLASS, func.hashtext(studio)


def read_checkpoint(connection: Connection, studio: str) -> Checkpoint:
    """How far the trail of a studio has been built."""
    query = select(projection.c.position, projection.c.at_min, projection.c.rules).where(
        projection.c.studio == studio, projection.c.name == NAME
    )
    found = connection.execute(query).first()
    return NOTHING if found is None else Checkpoint(*found)


def read_ends(connection: Connection, studio: str) -> dict[str, TrailEnd]:
    """Where the rows leave each episode."""
    found = connection.execute(_ENDS, {"studio": studio})
    return {episode: TrailEnd(*rest) for episode, *rest in found}


def write(
    connection: Connection,
    studio: str,
    before: Checkpoint,
    after: Checkpoint,
    moves: Sequence[DateMove],
) -> None:
    """Add rows and move the checkpoint, in the caller's transaction. Raises MovedOnError."""
    values = {"studio": studio, "name": NAME, **after._asdict()}
    moved = (
        insert(projection)
        .values(**values)
        .on_conflict_do_update(
            index_elements=["studio", "name"],
            set_=after._asdict(),
            where=(projection.c.position == before.position)
            & (projection.c.at_min == before.at_min),
        )
        .returning(projection.c.position)
    )
    if connection.execute(moved).first() is None:
        raise MovedOnError(studio)
    with driver_cursor(connection) as cursor, cursor.copy(_COPY) as copy:
        for move in moves:
            copy.write_row((studio, *move))


def clear(connection: Connection, studio: str) -> None:
    """Take away rows and checkpoint, in the caller's transaction."""
    connection.execute(delete(trail).where(trail.c.studio == studio))
    connection.execute(
        delete(projection).where(projection.c.studio == studio, projection.c.name == NAME)
    )


def page(
    connection: Connection,
    studio: str,
    episode: str,
    *,
    until_min: int,
    after: int,
    limit: int,
    cause: str | None = None,
    from_position: int = 0,
    until_position: int | None = None,
) -> list[DateMove]:
    """At most `limit` rows of an episode after a number, up to a minute.

    Of one cause if it is said (`event`, `time`, or a type of event), and of positions in bounds.
    """
    conditions = [
        trail.c.studio == studio,
        trail.c.episode == episode,
        trail.c.number > after,
        trail.c.at_min <= until_min,
        trail.c.position >= from_position,
    ]
    if until_position is not None:
        conditions.append(trail.c.position <= until_position)
    if cause is not None:
        conditions.append((trail.c.cause if cause in CAUSES else trail.c.type) == cause)
    query = select(*_COLUMNS).where(*conditions).order_by(trail.c.number).limit(limit)
    return [DateMove(*row) for row in connection.execute(query)]


def rows_at(
    connection: Connection, studio: str, places: Sequence[tuple[str, int]]
) -> dict[tuple[str, int], DateMove]:
    """The stored rows of these episodes and numbers; those that are not there are left out."""
    # two parameters however many there are: a statement has room for 65,535
    episodes = cast([episode for episode, _ in places], ARRAY(Text))
    numbers = cast([number for _, number in places], ARRAY(BigInteger))
    asked = func.unnest(episodes, numbers).table_valued("episode", "number").render_derived()
    same = and_(trail.c.episode == asked.c.episode, trail.c.number == asked.c.number)
    query = select(*_COLUMNS).join_from(asked, trail, same).where(trail.c.studio == studio)
    found = (DateMove(*row) for row in connection.execute(query))
    return {(move.episode, move.number): move for move in found}


def first_beyond(
    connection: Connection, studio: str, numbers: Mapping[str, int]
) -> DateMove | None:
    """The first stored row, by position, behind the last numbers that episodes have."""
    places = select(trail.c.episode, func.max(trail.c.number)).where(trail.c.studio == studio)
    found = connection.execute(places.group_by(trail.c.episode)).all()
    beyond = [
        and_(trail.c.episode == episode, trail.c.number > numbers.get(episode, 0))
        for episode, number in found
        if number > numbers.get(episode, 0)
    ]
    if not beyond:
        return None
    query = select(*_COLUMNS).where(trail.c.studio == studio, or_(*beyond))
    row = connection.execute(query.order_by(trail.c.position, trail.c.number).limit(1)).first()
    return None if row is None else DateMove(*row)


def is_asked(
    move: DateMove,
    episode: str,
    *,
    after: int,
    cause: str | None = None,
    from_position: int = 0,
    until_position: int | None = None,
) -> bool:
    """Whether a row that is not stored would be on a page."""
    return (
        move.episode == episode
        and move.number > after
        and cause in {None, move.cause, move.type}
        and move.position >= from_position
        and (until_position is None or move.position <= until_position)
    )


def shares(
    connection: Connection,
    studio: str,
    *,
    until_min: int,
    episode: str | None = None,
    show: str | None = None,
) -> list[Share]:
    """What moved the dates of a studio, a show or an episode up to a minute, added up."""
    conditions: list[ColumnElement[bool]] = [
        trail.c.studio == studio,
        trail.c.at_min <= until_min,
        trail.c.delta_min != 0,
    ]
    if episode is not None:
        conditions.append(trail.c.episode == episode)
    if show is not None:
        # what begins with the show's name and a hyphen, as a range of the key
        conditions += [trail.c.episode >= f"{show}-", trail.c.episode < f"{show}."]
    by = (trail.c.cause, trail.c.type, trail.c.department, trail.c.retake_kind)
    delta = trail.c.delta_min
    query = (
        select(
            *by,
            func.count(),
            func.coalesce(func.sum(delta).filter(delta > 0), 0),
            func.coalesce(-func.sum(delta).filter(delta < 0), 0),
        )
        .where(*conditions)
        .group_by(*by)
    )
    return [
        Share(cause, type_, department, kind, moves, int(lost), int(gained))
        for cause, type_, department, kind, moves, lost, gained in connection.execute(query)
    ]


def share_of(move: DateMove) -> Share:
    """A row by itself as a share."""
    delta_min = move.delta_min or 0
    return Share(
        move.cause,
        move.type,
        move.department,
        move.retake_kind,
        int(delta_min != 0),
        max(0, delta_min),
        max(0, -delta_min),
    )
