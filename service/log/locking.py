"""The log locked, and what a commit must know under the lock, in one round trip to the database."""

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection

from service.log.append import Head, head_of, locking_head
from service.log.prepared import run_together
from service.log.read import asking_bodies, bodies_of
from service.log.tokens import asking_standing, standing_of


class Locked(NamedTuple):
    """A locked log: its head, which tokens have not been revoked, and the events behind `after`.

    `rows` are positions and bodies, in order; not all of them where there are many.
    """

    head: Head
    standing: frozenset[str]
    after: int
    rows: list[tuple[int, bytes]]


def lock(
    connection: Connection, studio: str, token_ids: Iterable[str], after: int, rows_max: int
) -> Locked:
    """Lock a studio's log until the transaction ends.

    What is read with it is what stands once the lock is had. Raises `UnknownStudioError`.
    """
    head, standing, rows = run_together(
        connection,
        locking_head(studio),
        asking_standing(studio, token_ids),
        asking_bodies(studio, after, limit=rows_max),
    )
    return Locked(head_of(head, studio), standing_of(standing), after, bodies_of(rows))
