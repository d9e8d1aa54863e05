"""One pass over a studio's rows: the tree, the columns, the personal text, and the head."""

from collections.abc import Callable, Iterator, Sequence
from hashlib import sha256
from typing import Any, NamedTuple

import msgspec
import orjson
from sqlalchemy import Connection, Row, select

from service.checking.columns import Columns, columns_of, content_hash_of, difference, members_of
from service.checking.findings import Finding, Kind
from service.log.append import Head, read_head
from service.log.schema import event, personal
from service.proofs.canonical import CanonicalError
from service.proofs.checkpoints import Checkpoint
from service.proofs.examining import examine
from service.proofs.tree import HASH_BYTES, Frontier, append, leaf_hash
from service.vocabulary.event import UnknownTypeError, read_event
from service.vocabulary.facts.record import TextForgotten
from service.vocabulary.instants import instant_us

AT_ONCE_ROWS = 2000
STEP_EVENTS = 1000

Stored = Row[Any]
"""A row of `event` with `salt` and `content` of its personal text, None where there is none."""


class Derived(NamedTuple):
    """What follows from a row's bytes: its hashes in the tree, and its columns.

    `columns` and `content_hash` are None where they cannot be had: of an event that this release
    does not know, and of one whose personal text is gone.
    """

    nodes: bytes
    columns: Columns | None
    content_hash: bytes | None


class Record(NamedTuple):
    """What a pass came to: how many events, the frontier over them, and what it found."""

    size: int
    frontier: Frontier
    recorded_at_us: int
    findings: list[Finding]


def check_record(
    connection: Connection,
    studio: str,
    checkpoints: Sequence[Checkpoint] = (),
    passed: Callable[[int], None] = lambda position: None,
    differs: Callable[[Stored, Derived], None] = lambda row, derived: None,
) -> Record:
    """Hold the rows of a studio against what follows from their bytes; the first of each kind.

    Reads every event and every personal text, in one transaction that should be REPEATABLE READ
    where others may append. `passed` is told how far it has come, `differs` of every row beside
    whose bytes something else stands than follows from them. Raises UnknownStudioError.
    """
    head = read_head(connection, studio)
    looking = _Pass(differs, passed)
    with _rows(connection, studio) as rows:
        examined = examine(looking.over(rows), checkpoints)
    found = looking.findings
    if examined.difference is not None:
        looking.note(Kind.RECORD, *examined.difference)
    if Kind.RECORD in found:
        found.pop(Kind.HASHES, None)  # they only follow from it
    looking.note_missing()
    _note_orphans(connection, studio, looking)
    _note_head(head, examined.size, looking)
    ordered = sorted(found.values(), key=lambda one: one.position)
    return Record(examined.size, looking.frontier, looking.recorded_at_us, ordered)


class _Pass:
    """The state of a pass: the tree so far, the first finding of each kind, erased texts."""

    def __init__(
        self, differs: Callable[[Stored, Derived], None], passed: Callable[[int], None]
    ) -> None:
        self.findings: dict[Kind, Finding] = {}
        self.frontier: Frontier = ()
        self.recorded_at_us = 0
        self._differs = differs
        self._passed = passed
        self._missing: set[int] = set()
        self._present: set[int] = set()
        self._erased: dict[int, int] = {}

    def note(self, kind: Kind, position: int, what: str) -> None:
        """Keep a finding unless one of its kind lies before it."""
        earlier = self.findings.get(kind)
        if earlier is None or position < earlier.position:
            self.findings[kind] = Finding(kind, position, what)

    def over(self, rows: Iterator[Stored]) -> Iterator[tuple[bytes, bytes]]:
        """Look at each row; gives its bytes and the hashes kept with it."""
        for size, row in enumerate(rows):
            leaf = leaf_hash(row.body)
            nodes, self.frontier = append(self.frontier, size, leaf)
            if row.nodes != nodes:
                if row.nodes[:HASH_BYTES] == leaf and row.position == size + 1:
                    what = "the hashes beside it are not those of the tree over the events"
                    self.note(Kind.HASHES, size + 1, what)
                else:
                    self.note(Kind.RECORD, size + 1, "its bytes are not those that were hashed")
            self._look(size + 1, row, nodes)
            if (size + 1) % STEP_EVENTS == 0:
                self._passed(size + 1)
            yield row.body, b""  # the hashes were compared here

    def _look(self, position: int, row: Stored, nodes: bytes) -> None:
        if row.position != position:
            self.note(Kind.RECORD, position, f"the event here is kept at {row.position}")
        try:
            event, members = read_event(row.body), members_of(row.body)
        except UnknownTypeError as error:
            self.note(Kind.UNKNOWN, position, f"this release does not know {error}")
            self._report(row, Derived(nodes, None, None))
            return
        except (msgspec.MsgspecError, ValueError, TypeError, KeyError) as error:
            self.note(Kind.UNKNOWN, position, f"it cannot be read: {error}")
            self._report(row, Derived(nodes, None, None))
            return
        if event.recorded_us < self.recorded_at_us:
            self.note(Kind.RECORD, position, "it was recorded before the event before it")
        self.recorded_at_us = max(self.recorded_at_us, event.recorded_us)
        if isinstance(event.fact, TextForgotten):
            self._erased |= dict.fromkeys(event.fact.positions, position)
        holds = self._look_at_text(position, row, members.get("personal"))
        hashed = _content_hash(row, members) if holds else None
        self._report(row, Derived(nodes, columns_of(event), hashed))

    def _look_at_text(self, position: int, row: Stored, committed: object) -> bool:
        """Whether an event's personal text, if it is there, is what was committed to."""
        if committed is not None:
            (self._missing if row.content is None else self._present).add(position)
        if row.content is None:
            return True
        # what is kept is the canonical bytes, so these are what was hashed
        holds = sha256(row.salt + row.content).hexdigest() == committed
        if not holds:
            self.note(Kind.TEXT, position, "its personal text is not what was committed to")
        return holds

    def _report(self, row: Stored, derived: Derived) -> None:
        what = None
        if derived.columns is not None:
            what = difference(stored_columns(row), derived.columns)
        if what is None and derived.content_hash not in {None, row.content_hash}:
            what = "content_hash beside it: not what its bytes say"
        if what is not None:
            self.note(Kind.COLUMNS, row.position, what)
        if what is not None or derived.nodes != row.nodes:
            self._differs(row, derived)

    def note_missing(self) -> None:
        """Hold the texts that are there, and those that are not, against what was erased."""
        gone = self._missing - self._erased.keys()
        if gone:
            more = f" ({len(gone)} such events)" if len(gone) > 1 else ""
            what = f"its personal text is missing, and no event says that it was erased{more}"
            self.note(Kind.MISSING_TEXT, min(gone), what)
        back = self._present & self._erased.keys()
        if back:
            at = min(back)
            what = f"its personal text was erased by event {self._erased[at]}, and is there"
            self.note(Kind.TEXT, at, what)


def stored_columns(row: Stored) -> Columns:
    """The columns of a row as they are stored."""
    return Columns(
        row.source,
        row.id,
        row.type,
        row.subject,
        row.department,
        instant_us(row.time_at),
        instant_us(row.recorded_at),
        row.poster,
    )


def _content_hash(row: Stored, members: Any) -> bytes | None:
    try:
        if row.content is not None:
            return content_hash_of(members, orjson.loads(row.content))
        return None if "personal" in members else content_hash_of(members, ())
    except (CanonicalError, orjson.JSONDecodeError, TypeError):
        return None  # the text is not what was committed to


def _rows(connection: Connection, studio: str) -> Any:
    same = (personal.c.studio == event.c.studio) & (personal.c.position == event.c.position)
    query = (
        select(event, personal.c.salt, personal.c.content)
        .select_from(event.outerjoin(personal, same))
        .where(event.c.studio == studio)
        .order_by(event.c.position)
        .execution_options(yield_per=AT_ONCE_ROWS)
    )
    return connection.execute(query)


def _note_orphans(connection: Connection, studio: str, looking: _Pass) -> None:
    same = (event.c.studio == personal.c.studio) & (event.c.position == personal.c.position)
    query = (
        select(personal.c.position)
        .select_from(personal.outerjoin(event, same))
        .where(personal.c.studio == studio, event.c.position.is_(None))
        .order_by(personal.c.position)
        .limit(1)
    )
    orphan = connection.execute(query).scalar()
    if orphan is not None:
        looking.note(Kind.TEXT, orphan, "there is personal text of an event that is not there")


def _note_head(head: Head, size: int, looking: _Pass) -> None:
    if head.position != size:
        what = f"the head is at {head.position}, there are {size} events"
        looking.note(Kind.HEAD, min(head.position, size) + 1, what)
    elif head.frontier != looking.frontier and Kind.RECORD not in looking.findings:
        looking.note(Kind.HEAD, size, "the tree's frontier in the head is not what its rows have")
    elif size and looking.recorded_at_us and head.recorded_at_us != looking.recorded_at_us:
        looking.note(Kind.HEAD, size, "the head was not last recorded in when its last event was")
