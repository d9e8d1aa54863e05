"""The log locked, and what a commit must know under the lock, in one round trip to the database."""

from collections.abc import Iterable
from typing import NamedTuple

from sqlalchemy import Connection

from service.log.append import Head, head_of, locking_head
from service.log.prepared import run_together
from service.log.read import asking_bodies, bodies_of
from service.log.tokens import asking_unrevoked, unrevoked_of


class Locked(NamedTuple):
    """A locked log: its head, which tokens are not revoked, and the events behind `after`.

    `rows` are positions and bodies, in order; not all of them where there are many.
    """

    head: Head
    unrevoked: frozenset[str]
    after: int
    rows: list[tuple[int, bytes]]

    @property
    def is_whole(self) -> bool:
        """Whether `rows` are all events behind `after`."""
        return self.after + len(self.rows) == self.head.position


def lock_log(
    connection: Connection, studio: str, token_ids: Iterable[str], after: int, rows_max: int
) -> Locked:
    """Lock a studio's log until the transaction ends.

    What is read with it is what stands once the lock is had. Raises `UnknownStudioError`.
    """
    head, tokens, rows = run_together(
        connection,
        locking_head(studio),
        asking_unrevoked(studio, token_ids),
        asking_bodies(studio, after, limit=rows_max),
    )
    return Locked(head_of(head, studio), unrevoked_of(tokens), after, bodies_of(rows))
