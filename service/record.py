"""The only write path: lock, catch up, find repeats, decide, append, commit.

Posts that wait together are committed together, each decided alone: the first to get the lock
takes in what has queued up behind it.
"""

import secrets
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from sqlalchemy import Connection, Engine

from service.log.append import Head, Recorded, Row, append_rows, find_recorded, lock_head
from service.log.tokens import Token
from service.production.decide import Past, decide
from service.production.decide.permission import Actor
from service.production.refusal import Code, Reason, Refusal
from service.production.state import State
from service.proofs.canonical import Prepared, canonical, commitment, content_hash, prepare, splice
from service.proofs.tree import append, leaf_hash
from service.studio import Studio, View
from service.vocabulary.event import Event
from service.vocabulary.facts import Fact, Role
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import format_instant, parse_instant

SALT_BYTES = 32


class Proposed(NamedTuple):
    """A checked event, canonicalised as far as it can be before the lock."""

    source: str
    id: str
    subject: str
    department: str | None
    time_us: int
    fact: Fact
    prepared: Prepared
    content_hash: bytes
    salt: bytes | None
    personal: bytes | None


class Receipt(NamedTuple):
    """What became of one event: where it lies, and whether it had been recorded before."""

    source: str
    id: str
    position: int
    recorded_at_us: int
    repeated: bool
    marks: tuple[str, ...]


def propose(members: dict[str, Any], personal: dict[str, Any], fact: Fact) -> Proposed:
    """Prepare an event: its public members, and the personal ones by JSON pointer.

    Raises CanonicalError for what has no canonical form.
    """
    salt = packed = None
    prepared = body = prepare(members)
    if personal:
        salt = secrets.token_bytes(SALT_BYTES)
        packed = canonical(personal)
        body = prepare({**members, "personal": commitment(salt, personal)})
    return Proposed(
        source=members["source"],
        id=members["id"],
        subject=members["subject"],
        department=getattr(fact, "department", None),
        time_us=parse_instant(members["time"]),
        fact=fact,
        prepared=body,
        # which personal members there are counts as content, what they say does not
        content_hash=content_hash(prepared, personal=sorted(personal)),
        salt=salt,
        personal=packed,
    )


@dataclass
class _Pending:
    """A post that waits to be committed."""

    token: Token
    proposals: Sequence[Proposed]
    answer: tuple[Receipt, ...] | Refusal | None = None
    fault: BaseException | None = None


@dataclass
class _Commit:
    """What one transaction adds up to, so far."""

    head: Head
    state: State
    recorded_us: int
    rows: list[Row] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    struck: dict[int, int] = field(default_factory=dict)


class _Repeat(NamedTuple):
    """An event that the log, or this transaction, has already."""

    position: int
    recorded_us: int
    content_hash: bytes
    personal: bytes | None


class Recorder:
    """The write path of one studio in this worker; safe to use from several threads."""

    def __init__(self, studio: Studio, engine: Engine) -> None:
        self._studio = studio
        self._engine = engine
        self._queue: list[_Pending] = []
        self._queue_lock = threading.Lock()
        self._commit_lock = threading.Lock()

    def record(self, token: Token, proposals: Sequence[Proposed]) -> tuple[Receipt, ...] | Refusal:
        """Record a batch whole, or refuse it whole with every reason.

        A repeat of what is recorded gets its first receipt again. Faults of the database are
        raised, and nothing is recorded then.
        """
        pending = _Pending(token, proposals)
        with self._queue_lock:
            self._queue.append(pending)
        with self._commit_lock:
            if pending.answer is None and pending.fault is None:
                with self._queue_lock:
                    together, self._queue = self._queue, []
                self._commit_together(together)
        if pending.fault is not None:
            raise pending.fault
        if pending.answer is None:
            raise RuntimeError("a post was neither answered nor failed")
        return pending.answer

    def _commit_together(self, together: list[_Pending]) -> None:
        try:
            with self._engine.begin() as connection:
                head = lock_head(connection, self._studio.name)
                view = self._studio.caught_up(connection, head)
                commit = _Commit(head, view.state, view.now_us)
                known = self._known(connection, together)
                answers = [self._answer(connection, commit, known, pending) for pending in together]
                append_rows(connection, self._studio.name, commit.rows, commit.head)
        except BaseException as fault:
            for pending in together:
                pending.fault = fault
            if not isinstance(fault, Exception):
                raise
            return
        self._studio.adopt(head.position, commit.head.position, commit.state, commit.struck)
        for pending, answer in zip(together, answers, strict=True):
            pending.answer = answer

    def _known(
        self, connection: Connection, together: Sequence[_Pending]
    ) -> dict[tuple[str, str], _Repeat]:
        keys = [(one.source, one.id) for pending in together for one in pending.proposals]
        found: dict[tuple[str, str], Recorded] = find_recorded(connection, self._studio.name, keys)
        return {
            key: _Repeat(at.position, at.recorded_at_us, at.content_hash, at.personal)
            for key, at in found.items()
        }

    def _answer(
        self,
        connection: Connection,
        commit: _Commit,
        known: dict[tuple[str, str], _Repeat],
        pending: _Pending,
    ) -> tuple[Receipt, ...] | Refusal:
        """Decide one post and, if it may be recorded, add it to the commit."""
        new, reused = _sort_out(known, pending.proposals)
        if reused:
            return Refusal(tuple(reused))
        events = [
            _event(pending.proposals[place], position, commit, pending.token)
            for position, place in enumerate(new, commit.head.position + 1)
        ]
        decided = decide(
            commit.state, events, actor_of(pending.token), self._past(connection, commit, events)
        )
        if isinstance(decided, Refusal):
            return Refusal(
                tuple(reason._replace(place=new[reason.place]) for reason in decided.reasons)
            )
        commit.state = decided.state
        strikes = {event.fact.position: event.position for event in events
                   if isinstance(event.fact, EventStruck)}  # fmt: skip
        commit.struck |= strikes
        commit.events += events
        for event, place in zip(events, new, strict=True):
            proposed = pending.proposals[place]
            _append(commit, event, proposed)
            known[proposed.source, proposed.id] = _Repeat(
                event.position, event.recorded_us, proposed.content_hash, proposed.personal
            )
        fresh = set(new)
        return tuple(
            _receipt(commit, known, proposed, place not in fresh)
            for place, proposed in enumerate(pending.proposals)
        )

    def _past(
        self, connection: Connection, commit: _Commit, events: Sequence[Event]
    ) -> Past | None:
        strikes = [e.fact.position for e in events if isinstance(e.fact, EventStruck)]
        if not strikes:
            return None
        recorded = commit.head.position - len(commit.events)
        reached = min([*strikes, *commit.struck, recorded + 1])
        past = self._studio.past(connection, max(1, reached), recorded, commit.events)
        struck = past.struck | set(commit.struck)
        standing = tuple(event for event in past.events if event.position not in struck)
        return past._replace(events=standing, struck=struck)


def _sort_out(
    known: dict[tuple[str, str], _Repeat], proposals: Sequence[Proposed]
) -> tuple[list[int], list[Reason]]:
    """Places of what is new, and what reuses an id with other content."""
    new: list[int] = []
    reused: list[Reason] = []
    seen: dict[tuple[str, str], Proposed] = {}
    for place, proposed in enumerate(proposals):
        key = (proposed.source, proposed.id)
        twin: _Repeat | Proposed | None = known.get(key) or seen.get(key)
        if twin is None:
            seen[key] = proposed
            new.append(place)
        elif not _same(twin, proposed):
            reused.append(
                Reason(
                    Code.ID_REUSED,
                    "this source and id were posted with other content; give a new id",
                    "/id",
                    place,
                )
            )
    return new, reused


def _same(twin: _Repeat | Proposed, proposed: Proposed) -> bool:
    if twin.content_hash != proposed.content_hash:
        return False
    # personal text that was removed since cannot be compared any more
    return twin.personal is None or twin.personal == proposed.personal


def _event(proposed: Proposed, position: int, commit: _Commit, token: Token) -> Event:
    return Event(
        position,
        proposed.source,
        proposed.id,
        proposed.subject,
        proposed.time_us,
        commit.recorded_us,
        token.name,
        proposed.fact,
    )


def _append(commit: _Commit, event: Event, proposed: Proposed) -> None:
    body = splice(
        proposed.prepared,
        position=event.position,
        recordedat=format_instant(event.recorded_us),
        poster=event.poster,
    )
    nodes, frontier = append(commit.head.frontier, event.position - 1, leaf_hash(body))
    commit.head = commit.head._replace(
        position=event.position, recorded_at_us=event.recorded_us, frontier=frontier
    )
    commit.rows.append(
        Row(
            position=event.position,
            source=event.source,
            id=event.id,
            type=event.fact.TYPE,
            subject=event.subject,
            department=proposed.department,
            time_at_us=event.time_us,
            recorded_at_us=event.recorded_us,
            poster=event.poster,
            content_hash=proposed.content_hash,
            body=body,
            nodes=nodes,
            salt=proposed.salt,
            personal=proposed.personal,
        )
    )


def _receipt(
    commit: _Commit, known: dict[tuple[str, str], _Repeat], proposed: Proposed, repeated: bool
) -> Receipt:
    at = known[proposed.source, proposed.id]
    marks = commit.state.marks.get(at.position, ())
    return Receipt(proposed.source, proposed.id, at.position, at.recorded_us, repeated, marks)


def actor_of(token: Token) -> Actor:
    """Who posts, as the rules see them."""
    return Actor(token.name, Role(token.role), tuple(token.departments))


class OpenStudio:
    """One studio in this worker: its warm state and its write path."""

    def __init__(self, name: str, engine: Engine, clock_us: Callable[[], int]) -> None:
        self.warm = Studio(name, engine, clock_us)
        self.recorder = Recorder(self.warm, engine)

    def view(self, min_position: int = 0) -> View:
        """Its state, caught up to a position at least."""
        return self.warm.view(min_position)


def real_clock_us() -> int:
    """The machine's clock, microseconds since the epoch."""
    return time.time_ns() // 1000


class Studios:
    """The studios of this worker, opened when first asked for."""

    def __init__(self, engine: Engine, clock_us: Callable[[], int] = real_clock_us) -> None:
        self._engine = engine
        self._clock_us = clock_us
        self._open: dict[str, OpenStudio] = {}
        self._lock = threading.Lock()

    def of(self, name: str) -> OpenStudio:
        """The studio of that name; that it exists is found out when it is read."""
        with self._lock:
            found = self._open.get(name)
            if found is None:
                found = self._open[name] = OpenStudio(name, self._engine, self._clock_us)
            return found
