"""Removing personal text, and recording in the same transaction that it was removed.

The service's role cannot delete, so this acts as the owner of the tables.
"""

import secrets
from collections.abc import Callable, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, Engine

from service.log.append import Head, lock_head
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
        head = lock_head(connection, studio)
        check_frontier(connection, studio, head)
        gone = remove(connection, studio, named)
        if gone != named:
            kept = ", ".join(str(position) for position in named if position not in gone)
            raise ErasingError(
                f"{studio} has no personal text at {kept}: none was recorded, or it was erased"
            )
        now_us = Studio(studio, engine, clock_us).now_us(head)
        event = _event(head.position + 1, now_us, TextForgotten(named, by, ground))
        _append(connection, studio, event, head)
    return Erased(event.position, named)


def _event(position: int, now_us: int, fact: TextForgotten) -> Event:
    id_ = secrets.token_hex(16)
    return Event(position, SOURCE, id_, "studio", now_us, now_us, OWNER, fact, OWNER)


def _append(connection: Connection, studio: str, event: Event, head: Head) -> None:
    chain = Chain(head)
    by = recorded_by(event.poster, event.role, event.recorded_us)
    seal(chain, event, proposal_of(event), by)
    chain.write(connection, studio)
