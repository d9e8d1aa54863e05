"""What folds and plans came to, held against folding the record anew: snapshots and the trail."""

import time
from collections.abc import Callable, Iterable, Iterator
from itertools import chain

import msgspec
from sqlalchemy import Connection, Engine

from service.checking.findings import Finding, Kind
from service.log.read import bodies
from service.log.snapshots import Kept, kept_snapshots
from service.planning.compare.trail import DateMove
from service.production.snapshot import thaw
from service.projections import rows
from service.projections.rows import Checkpoint
from service.projections.stretches import Stretch, stretches, walkers
from service.projections.walking import PIECE_S, minutes_over, walk_from, walk_on
from service.settings import Settings
from service.studio import Studio
from service.vocabulary.calendar import NEVER
from service.vocabulary.event import read_event
from service.vocabulary.instants import US_PER_MIN

STRETCHES_LEAST = 4
"""For fewer, other processes are not worth their start: each folds the record by itself."""

Passed = Callable[[int], None]


def check_snapshots(engine: Engine, studio: Studio, seal_key: bytes | None) -> Finding | None:
    """The first snapshot of this release that is not sealed, or not what the record folds to.

    `studio` must fold by itself, without snapshots. Without the key of seals nobody uses a
    snapshot, and what they hold is compared all the same.
    """
    head = studio.view().position
    with engine.connect() as connection:
        for kept in kept_snapshots(connection, studio.name, seal_key):
            what = _wrong_snapshot(studio, kept, head)
            if what is not None:
                return Finding(Kind.SNAPSHOT, kept.position, what)
    return None


def _wrong_snapshot(studio: Studio, kept: Kept, head: int) -> str | None:
    if kept.position > head:
        return f"there is a snapshot of it, and the record ends at {head}"
    if kept.sealed is False:
        return "the snapshot here was not sealed by this service; no worker starts from it"
    try:
        thawed = thaw(kept.parts)
    except (msgspec.MsgspecError, ValueError, TypeError, LookupError) as error:
        return f"the snapshot here cannot be read: {error}"
    state = studio.history.as_known_at(kept.position)
    differing = thawed.state.differences(state)
    if differing:
        return f"the snapshot here is not what the record folds to: {', '.join(differing)}"
    if thawed.struck != studio.history.strikes_at(kept.position):
        return "the snapshot here says otherwise than the record what was struck"
    return None


def check_trail(
    engine: Engine, studio: Studio, settings: Settings, processes: int, passed: Passed
) -> Finding | None:
    """The first stored row of the trail that is not what building it anew gives.

    A trail that was built by other rules is built anew by the service itself, so it is not looked
    at. `studio` must fold by itself, without snapshots.
    """
    with engine.connect() as connection:
        until = rows.read_checkpoint(connection, studio.name)
        if until.rules != rows.RULES or until.position == 0:
            return _more_than(connection, studio.name, {}) if until.position == 0 else None
        head = studio.view().position
        if until.position > head:
            what = (
                f"the trail is said to be built up to {until.position}, the record ends at {head}"
            )
            return Finding(Kind.TRAIL, head + 1, what)
    numbers: dict[str, int] = {}
    at = rows.NOTHING
    for at, moves in _anew(engine, studio, settings, processes, until):
        with engine.connect() as connection:
            found = _compared(connection, studio.name, moves)
        if found is not None:
            return found
        numbers |= {move.episode: move.number for move in moves}
        passed(at.position)
    with engine.connect() as connection:
        if at != until or not _ends_a_minute(connection, studio.name, until):
            what = "the trail is said to end here, and no minute does"
            return Finding(Kind.TRAIL, until.position, what)
        return _more_than(connection, studio.name, numbers)


def _ends_a_minute(connection: Connection, studio: str, at: Checkpoint) -> bool:
    following = bodies(connection, studio, at.position, at.position + 1)
    return all(read_event(body).recorded_us // US_PER_MIN > at.at_min for _, body in following)


def _anew(
    engine: Engine, studio: Studio, settings: Settings, processes: int, until: Checkpoint
) -> Iterator[tuple[Checkpoint, list[DateMove]]]:
    """The rows of a trail up to a checkpoint, built again, with how far they go."""
    with engine.connect() as connection:
        listed = list(stretches(connection, studio.name, rows.NOTHING, until.position, NEVER))
    if processes > 1 and len(listed) >= STRETCHES_LEAST:
        last = listed[-1].until
        rest = [Stretch(last, until)] if last.position < until.position else []
        with walkers(studio.name, engine, settings, processes) as walking:
            for stretch, moves in walking.joined(chain(listed, rest), {}):
                yield stretch.until, moves
        return
    past = studio.history.apart()
    walk = walk_from(studio, rows.NOTHING, {}, past.at)
    minutes = minutes_over(engine, studio.name, 0, until.position)
    left = True
    while left:
        moves, walk, left = walk_on(walk, minutes, past.at, time.monotonic() + PIECE_S)
        yield Checkpoint(walk.position, walk.now_min, rows.RULES), moves


def _compared(connection: Connection, studio: str, moves: Iterable[DateMove]) -> Finding | None:
    ordered = sorted(moves, key=lambda move: (move.position, move.episode, move.number))
    stored = rows.rows_at(connection, studio, [(move.episode, move.number) for move in ordered])
    for move in ordered:
        found = stored.get((move.episode, move.number))
        where = f"row {move.number} of {move.episode}"
        if found is None:
            return Finding(Kind.TRAIL, move.position, f"{where} is missing")
        if found != move:
            names = [name for name, one, other in zip(DateMove._fields, found, move, strict=True)
                     if one != other]  # fmt: skip
            what = f"{where} is not what follows from the record: {', '.join(names)}"
            return Finding(Kind.TRAIL, move.position, what)
    return None


def _more_than(connection: Connection, studio: str, numbers: dict[str, int]) -> Finding | None:
    move = rows.first_beyond(connection, studio, numbers)
    if move is None:
        return None
    what = f"row {move.number} of {move.episode} does not follow from the record"
    return Finding(Kind.TRAIL, move.position, what)
