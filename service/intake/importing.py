"""A whole export taken into a new studio: the same positions, the same leaves, the same root.

Everything is checked before the first row is written, the rows go in one transaction, and the root
of what was written is checked before it is committed: nobody ever sees half of it.

Columns are derived from the bytes by `read_event`, hashes by growing the tree. The content hash, by
which repeats are recognised, needs the names of personal members, which a body does not have: the
export says it beside those events (`contents.txt`), and where the text is there both must agree.
The studio's name is not in the bodies, so that any will do.
"""

from base64 import b64decode
from binascii import Error as Base64Error
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import islice
from pathlib import Path
from typing import NamedTuple

import msgspec
from psycopg.errors import UniqueViolation
from sqlalchemy import Connection, Engine
from sqlalchemy.exc import IntegrityError

from service.checking.columns import content_hash_of, members_of
from service.feeds.exports import AT_ONCE, CHECKPOINT, CONTENTS
from service.intake.exported import (
    ExportedError,
    is_of_episode,
    read_record,
    read_signed_checkpoint,
    read_texts,
)
from service.intake.verifying import verify_export
from service.log.append import lock_head
from service.log.chain import Chain
from service.log.studios import Clock, check_name, make_studio
from service.log.tree import read_root
from service.production.decide import CLOCK_SKEW_US
from service.proofs.canonical import CanonicalError, canonical
from service.proofs.checkpoints import Checkpoint
from service.proofs.notes import Key
from service.proofs.tree import HASH_BYTES, Frontier, root
from service.record.erasing import record_forgotten
from service.record.studios import real_clock_us
from service.studio import Studio
from service.vocabulary.event import UnknownTypeError, read_event
from service.vocabulary.facts.record import TextForgotten
from service.vocabulary.instants import format_instant

_SHOWN_TYPES = 5
MISSING_AT_ONCE = 10_000
"""Of how many missing texts one event says so."""
MISSING_BY, MISSING_GROUND = "import", "Not in the export that was taken in."


class ImportedError(ValueError):
    """A record cannot be taken in; the message says why, and nothing was kept."""


class Aim(NamedTuple):
    """The studio to make. Unless said, a simulated clock begins where the record ends."""

    studio: str
    clock: Clock = "real"
    clock_at_us: int | None = None
    title: str | None = None


class Taken(NamedTuple):
    """How far it has come: events of how many, and how many texts are not in the export."""

    events: int
    events_in_all: int
    texts_missing: int = 0


class _Aside(NamedTuple):
    """What lies beside the events: personal text with its salts, and content hashes."""

    texts: dict[int, tuple[bytes, Mapping[str, object]]]
    contents: dict[int, bytes]


def take_in(
    engine: Engine,
    aim: Aim,
    folder: Path,
    checkpoints: Sequence[Checkpoint] = (),
    keys: tuple[Key, ...] = (),
    seal_key: bytes | None = None,
    at_once: int = AT_ONCE,
    clock_us: Callable[[], int] = real_clock_us,
) -> Iterator[Taken]:
    """Take an export into a new studio; tells on the way how far it has come.

    Where personal text is missing that no event says was erased, one behind the record says that
    it did not come along.

    The export must agree with its own checkpoint, signed by one of `keys` if any are given, and
    with all others given. With the key of seals the clock is sealed. Events are written `at_once`
    at a time. Raises ImportedError, ExportedError, StudioNameError, and StudioExistsError.
    """
    check_name(aim.studio)
    if is_of_episode(folder):
        raise ImportedError(
            "this is an episode's export, and a record is taken in whole, or no proof of it would "
            "hold: export the whole record"
        )
    own = read_signed_checkpoint(folder / CHECKPOINT, keys)
    found = verify_export(folder, checkpoints, keys).difference
    if found is not None:
        raise ImportedError(f"NOT what it was: position {found.position}: {found.what}")
    aside = _Aside(read_texts(folder), _contents(folder))
    first_us, last_us, missing = _look_through(folder, aside)
    clock_at_us = _clock_at_us(aim, last_us, clock_us())
    try:
        with engine.begin() as connection:
            make_studio(
                connection,
                aim.studio,
                aim.clock,
                clock_at_us,
                aim.title,
                begun_us=first_us,
                seal_key=seal_key,
            )
            yield from _write(connection, aim.studio, folder, aside, own, at_once)
            made = Studio(aim.studio, engine, clock_us)
            for first in range(0, len(missing), MISSING_AT_ONCE):
                some = tuple(missing[first : first + MISSING_AT_ONCE])
                record_forgotten(connection, made, TextForgotten(some, MISSING_BY, MISSING_GROUND))
            yield Taken(own.size, own.size, len(missing))
    except IntegrityError as error:
        # positions are what they should be by now, and a studio that exists is told as such
        if not isinstance(error.orig, UniqueViolation):
            raise
        raise ImportedError("two events of the record have the same source and id") from error


def _clock_at_us(aim: Aim, last_us: int | None, now_us: int) -> int | None:
    """Where the clock begins, None for a real one, with a record that ends at `last_us`."""
    if aim.clock == "real":
        if last_us is not None and last_us > now_us + CLOCK_SKEW_US:
            raise ImportedError(
                f"the record ends at {format_instant(last_us)}, which is still to come: take it "
                "into a studio with a simulated clock (--clock simulated)"
            )
        return None
    clock_at_us = last_us if aim.clock_at_us is None else aim.clock_at_us
    if clock_at_us is None:
        raise ImportedError("the record is empty: say where the clock begins (--clock-at)")
    if last_us is not None and clock_at_us < last_us:
        ends_at = format_instant(last_us)
        raise ImportedError(f"the record ends at {ends_at}: its clock cannot begin before that")
    return clock_at_us


def _look_through(folder: Path, aside: _Aside) -> tuple[int | None, int | None, list[int]]:
    """When the record was begun and ended (microseconds), once all of it can be understood.

    And the positions of the events whose personal text is missing, though none says so.
    """
    missing: set[int] = set()
    erased: set[int] = set()
    first: int | None = None
    last: int | None = None
    unknown: dict[str, int] = {}
    for position, (body, _) in enumerate(read_record(folder), 1):
        try:
            event = read_event(body)
        except UnknownTypeError as error:
            unknown.setdefault(str(error), position)
            continue
        except (msgspec.MsgspecError, ValueError, TypeError, KeyError) as error:
            raise ImportedError(f"position {position} is not an event: {error}") from error
        if last is not None and event.recorded_us < last:
            raise ImportedError(f"position {position} was recorded before the one before it")
        last = event.recorded_us
        first = event.recorded_us if first is None else first
        content_of(body, position, aside.texts, aside.contents)
        if position not in aside.texts and "personal" in members_of(body):
            missing.add(position)
        if isinstance(event.fact, TextForgotten):
            erased.update(event.fact.positions)
    if unknown:
        few = list(unknown.items())[:_SHOWN_TYPES]
        named = ", ".join(f"{type_} (position {at})" for type_, at in few)
        raise ImportedError(
            f"this release does not know these types of event: {named}; take it in with the "
            "release that recorded them, or a later one"
        )
    return first, None if first is None else last, sorted(missing - erased)


def content_of(
    body: bytes,
    position: int,
    texts: dict[int, tuple[bytes, Mapping[str, object]]],
    contents: dict[int, bytes],
) -> bytes:
    """The content hash of a recorded event, by which a repeat of its post is recognised.

    It follows from the body and the names of its personal members; where their text is not there
    it is taken from what the export says of it. Raises ImportedError.
    """
    members = members_of(body)
    committed = "personal" in members
    content = contents.get(position)
    if committed and position not in texts:
        if content is None:
            raise ImportedError(
                f"position {position} has personal text that is not in the export, nor is its "
                f"content hash ({CONTENTS}): export the record again"
            )
        return content
    try:
        made = content_hash_of(members, texts[position][1] if committed else ())
    except CanonicalError as error:
        raise ImportedError(f"position {position} is not canonical: {error}") from error
    if content is not None and content != made:
        raise ImportedError(f"position {position}: {CONTENTS} does not say what its content hashes")
    return made


def _contents(folder: Path) -> dict[int, bytes]:
    """The content hashes that the export gives, by position. Raises ExportedError."""
    path = folder / CONTENTS
    if not path.exists():
        return {}
    found = {}
    try:
        for line in path.read_text(encoding="utf-8").splitlines():
            position, hashed = line.split(" ")
            found[int(position)] = content = b64decode(hashed, validate=True)
            if len(content) != HASH_BYTES:
                raise ValueError(f"{len(content)} bytes, not {HASH_BYTES}")
    except (OSError, ValueError, Base64Error) as error:
        raise ExportedError(f"{path} holds a line that is not a content hash: {error}") from error
    return found


def _write(
    connection: Connection,
    studio: str,
    folder: Path,
    aside: _Aside,
    own: Checkpoint,
    at_once: int,
) -> Iterator[Taken]:
    chain = Chain(lock_head(connection, studio))
    record = read_record(folder)
    while chunk := list(islice(record, at_once)):
        for body, _ in chunk:
            event = read_event(body)
            content = content_of(body, event.position, aside.texts, aside.contents)
            salt, text = aside.texts.get(event.position, (None, None))
            chain.put(event, body, content, salt, None if text is None else canonical(text))
        chain.write(connection, studio)
        yield Taken(chain.head.position, own.size)
    _check(connection, studio, chain.head.frontier, own)


def _check(connection: Connection, studio: str, frontier: Frontier, own: Checkpoint) -> None:
    """Whether what was written is what the checkpoint covers, read back from the tables."""
    if root(frontier) != own.root or read_root(connection, studio, own.size) != own.root:
        raise ImportedError("what was written is not what the checkpoint covers; nothing was kept")
