"""Studios, and the clocks they go by."""

import re
from datetime import UTC, datetime
from typing import Literal, NamedTuple

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.dialects.postgresql import insert as postgresql_insert

from service.log import schema
from service.log.append import Head, lock_head
from service.proofs.seals import seal
from service.vocabulary.instants import US_PER_MIN, format_instant, instant, instant_us

Clock = Literal["real", "simulated"]

CLOCK_STEP_DAYS_MAX = 366
"""How far a simulated clock goes at a time: it cannot be taken back, so that a wrong year in one
request must not be the end of a studio."""


NAME_MOST = 54
"""Letters of a studio's name: with the longest origin it is a key's name in a signed note (255)."""
_NAME = re.compile(rf"[a-z0-9][a-z0-9-]{{0,{NAME_MOST - 1}}}")


class StudioNameError(ValueError):
    """A studio cannot be called so."""


class ClockError(ValueError):
    """A clock cannot be moved so; the message says why."""


class StudioExistsError(ValueError):
    """A studio of that name has been made already."""


class StudioRecord(NamedTuple):
    """A studio, the kind of its clock and its own name, fixed when it was made."""

    studio: str
    clock: Clock
    made_at_us: int
    title: str


def check_name(studio: str) -> None:
    """Raise StudioNameError unless a new studio can be called so.

    It stands for good in checkpoints, there as the name of the key that signs them too, and in the
    names of what is exported.
    """
    if _NAME.fullmatch(studio) is None:
        raise StudioNameError(
            f"{studio!r} is no name of a studio: write up to {NAME_MOST} small letters of a to z, "
            "digits and hyphens, such as paper-lantern, and its own name with --title"
        )


def make_studio(
    connection: Connection,
    studio: str,
    clock: Clock,
    clock_at_us: int | None = None,
    title: str | None = None,
    begun_us: int | None = None,
    seal_key: bytes | None = None,
) -> None:
    """Make a studio with an empty log; without a title its code stands on its papers.

    `clock_at_us` is where a simulated clock begins, and None for a real one (`ValueError`);
    `begun_us` when recording began, where a record is taken over. Its clock is sealed with the key
    of seals, where there is one. Raises `StudioNameError` and `StudioExistsError`.
    """
    check_name(studio)
    if (clock == "simulated") != (clock_at_us is not None):
        raise ValueError("a simulated clock needs an instant to begin at, a real one has none")
    made_at = datetime.now(UTC)
    made = connection.execute(
        postgresql_insert(schema.studio)
        .values(studio=studio, clock=clock, made_at=made_at, title=title)
        .on_conflict_do_nothing()
        .returning(schema.studio.c.studio)
    )
    if made.first() is None:
        raise StudioExistsError(f"{studio}: made already")
    clock_at = None if clock_at_us is None else instant(clock_at_us)
    connection.execute(
        insert(schema.head).values(
            studio=studio,
            position=0,
            recorded_at=(clock_at or made_at) if begun_us is None else instant(begun_us),
            frontier=b"",
            clock_at=clock_at,
            clock_seal=clock_seal(seal_key, studio, clock, clock_at_us),
        )
    )


def clock_seal(
    seal_key: bytes | None, studio: str, clock: Clock, clock_at_us: int | None
) -> bytes | None:
    """The seal of a studio's clock: of which kind it is, and where it stands if it is simulated."""
    return None if seal_key is None else seal(seal_key, "clock", studio, clock, clock_at_us)


def seal_clock(connection: Connection, studio: StudioRecord, seal_key: bytes | None) -> None:
    """Seal a studio's clock as it stands, in the caller's transaction."""
    head = lock_head(connection, studio.studio)
    sealed = clock_seal(seal_key, studio.studio, studio.clock, head.clock_at_us)
    connection.execute(
        update(schema.head).where(schema.head.c.studio == studio.studio).values(clock_seal=sealed)
    )


def find_studio(connection: Connection, studio: str) -> StudioRecord | None:
    """The studio of that name, if it has been made."""
    return next(iter(_studios(connection, studio)), None)


def list_studios(connection: Connection) -> list[StudioRecord]:
    """All studios, by name."""
    return _studios(connection, None)


def move_clock(
    connection: Connection, studio: str, clock_at_us: int, seal_key: bytes | None = None
) -> Head:
    """Move a simulated clock forward, under the lock of the studio's log; gives the head.

    Moving it to where it stands changes nothing but its seal. Raises `ClockError` for a real clock,
    a move back or one of more than `CLOCK_STEP_DAYS_MAX`, and `UnknownStudioError`.
    """
    head = lock_head(connection, studio)
    if head.clock_at_us is None:
        raise ClockError(f"{studio} goes by the real clock, which nobody moves")
    if clock_at_us < head.clock_at_us:
        now = format_instant(head.clock_at_us)
        raise ClockError(f"the clock of {studio} stands at {now} and does not go back")
    if clock_at_us - head.clock_at_us > CLOCK_STEP_DAYS_MAX * 24 * 60 * US_PER_MIN:
        now = format_instant(head.clock_at_us)
        raise ClockError(
            f"the clock of {studio} stands at {now}, goes at most {CLOCK_STEP_DAYS_MAX} days ahead "
            "at a time, and cannot be taken back; move it further in steps"
        )
    write_clock(connection, studio, clock_at_us, seal_key)
    return head._replace(clock_at_us=clock_at_us)


def write_clock(
    connection: Connection, studio: str, clock_at_us: int, seal_key: bytes | None = None
) -> None:
    """Write where a simulated clock stands, whatever the way there, and seal it."""
    connection.execute(
        update(schema.head)
        .where(schema.head.c.studio == studio)
        .values(
            clock_at=instant(clock_at_us),
            clock_seal=clock_seal(seal_key, studio, "simulated", clock_at_us),
        )
    )


def _studios(connection: Connection, studio: str | None) -> list[StudioRecord]:
    table = schema.studio
    columns = (table.c.studio, table.c.clock, table.c.made_at, table.c.title)
    query = select(*columns).order_by(table.c.studio)
    if studio is not None:
        query = query.where(table.c.studio == studio)
    found = connection.execute(query)
    return [
        StudioRecord(name, clock, instant_us(made_at), title or name)
        for name, clock, made_at, title in found
    ]
