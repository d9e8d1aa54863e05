"""Removing personal text, and recording in the same transaction that it was removed.

The service's role cannot delete, so this acts as the owner of the tables.
"""

import secrets
from collections.abc import Callable, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from service.log.append import lock_head
from service.log.chain import Chain
from service.log.personal import remove
from service.log.tree import check_frontier
from service.record.proposing import proposal_of
from service.record.sealing import recorded_by, seal
from service.record.studios import real_clock_us
from service.studio import Studio
from service.vocabulary.event import Event
from service.vocabulary.facts.base import OWNER
from service.vocabulary.facts.record import TextForgotten

SOURCE = "/owner"


class ErasingError(ValueError):
    """Nothing was removed and nothing recorded; the message says why."""


class Erased(NamedTuple):
    """What was removed, and the position of the event that says so."""

    position: int
    positions: tuple[int, ...]


def erase_text(
    engine: Engine,
    studio: str,
    positions: Sequence[int],
    by: str,
    ground: str,
    clock_us: Callable[[], int] = real_clock_us,
) -> Erased:
    """Remove the personal text and salts of some events of a studio, all of them or none.

    The events' bytes and their commitments stay, so proofs still hold; without its salt a
    commitment tells nothing of the text. `engine` connects as the owner. `by` and `ground` are
    checked by the caller. Raises ErasingError, FrontierError, and UnknownStudioError.
    """
    named = tuple(sorted(set(positions)))
    if not named:
        raise ErasingError("name the position of an event")
    with engine.begin() as connection:
        check_frontier(connection, studio, lock_head(connection, studio))
        gone = remove(connection, studio, named)
        if gone != named:
            kept = ", ".join(str(position) for position in named if position not in gone)
            raise ErasingError(
                f"{studio} has no personal text at {kept}: none was recorded, or it was erased"
            )
        fact = TextForgotten(named, by, ground)
        position = record_forgotten(connection, Studio(studio, engine, clock_us), fact)
    return Erased(position, named)


def record_forgotten(connection: Connection, studio: Studio, fact: TextForgotten) -> int:
    """Record that personal text is not there, in a transaction of the caller's; gives where."""
    head = lock_head(connection, studio.name)
    now_us, position = studio.now_us(head), head.position + 1
    id_ = secrets.token_hex(16)
    event = Event(position, SOURCE, id_, "studio", now_us, now_us, OWNER, fact, OWNER)
    chain = Chain(head)
    seal(chain, event, proposal_of(event), recorded_by(OWNER, OWNER, now_us))
    chain.write(connection, studio.name)
    return position
