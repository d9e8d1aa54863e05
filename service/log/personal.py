"""Taking personal text away, as the owner of the tables.

Personal text (members of kind `Text`, unknown members, unknown extension attributes) lies in the
table `personal` as canonical JSON by JSON pointer; the body has SHA-256 of salt and text in its
member `personal`. Which personal members an event has counts as content when a repeat is compared.
No worker keeps any of it, and a state and its snapshots have no place for it.
"""

from collections.abc import Sequence

from sqlalchemy import Connection, delete, func

from service.log.schema import personal


def remove(connection: Connection, studio: str, positions: Sequence[int]) -> tuple[int, ...]:
    """Delete the personal text of events with its salts; gives those that had any, in order."""
    gone = connection.execute(
        delete(personal)
        .where(personal.c.studio == studio, personal.c.position == func.any(list(positions)))
        .returning(personal.c.position)
    )
    return tuple(sorted(gone.scalars()))
