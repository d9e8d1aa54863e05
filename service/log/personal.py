"""Taking personal text away, as the owner of the tables."""

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
