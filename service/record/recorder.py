"""Posts that wait together are committed together, each decided alone.

The first to get the lock takes along what has come meanwhile.
"""

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import IntegrityError, SQLAlchemyError

from service.log.append import Head
from service.log.chain import Chain
from service.log.tokens import Token, unrevoked
from service.log.tree import FrontierError, check_frontier
from service.planning.compare.pricing import quoted
from service.production.decide import Accepted, Past, decide, may_not_strike, strikes_first
from service.production.permission import Actor
from service.production.refusal import Reason, Refusal, at_places
from service.production.state import State
from service.record.approving import keys_behind
from service.record.proposing import Proposed, event_of, proposal_of
from service.record.repeats import (
    Key,
    Repeat,
    find_keys,
    find_repeats,
    sort_out,
    sort_out_derived,
    text_hash,
)
from service.record.sealing import recorded_by, seal
from service.studio import Studio
from service.vocabulary.event import Event
from service.vocabulary.facts import Role
from service.vocabulary.facts.record import EventStruck

CHECK_S = 1.0
"""How often a worker holds the frontier against the rows while others move the head too."""


class TokenRevokedError(Exception):
    """The token had been revoked when the post was decided; nothing was recorded."""


class Receipt(NamedTuple):
    """What became of one event: where it lies, and whether it had been recorded before.

    `struck_at` is the position of the strike by which it does not count any more, None while it
    stands; `kept_aside` has the JSON pointers of what it says that its type does not have.
    """

    source: str
    id: str
    position: int
    recorded_at_us: int
    repeated: bool
    marks: tuple[str, ...]
    struck_at: int | None = None
    kept_aside: tuple[str, ...] = ()


_Placed = tuple[int, Proposed, Event]  # place in the post
# an exception is raised to who posted
_Answer = tuple[Receipt, ...] | Refusal | Exception


@dataclass
class _Pending:
    """A post that waits to be committed."""

    token: Token
    proposals: Sequence[Proposed]
    answer: _Answer | None = None
    fault: BaseException | None = None


@dataclass
class _Commit:
    """What one transaction adds up to, so far."""

    chain: Chain
    state: State
    recorded_us: int
    events: list[Event] = field(default_factory=list)
    struck: dict[int, int] = field(default_factory=dict)

    def copy(self) -> "_Commit":
        """The same, apart from what is added later."""
        return replace(self, chain=self.chain.copy(), events=[*self.events], struck={**self.struck})


class Recorder:
    """The write path of one studio in this worker; safe to use from several threads."""

    def __init__(self, studio: Studio, engine: Engine) -> None:
        self._studio = studio
        self._engine = engine
        self._waiting: list[_Pending] = []
        self._waiting_lock = threading.Lock()
        self._commit_lock = threading.Lock()
        self._last: Head | None = None
        self._checked_s = 0.0

    def record(self, token: Token, proposals: Sequence[Proposed]) -> tuple[Receipt, ...] | Refusal:
        """Record a batch whole, or refuse it whole with every reason.

        A repeat of what is recorded gets its first receipt again. Raises TokenRevokedError. Faults
        of the database are raised; nothing is recorded then, unless the connection was lost while
        it committed: whether it did is not known.
        """
        pending = _Pending(token, proposals)
        with self._waiting_lock:
            self._waiting.append(pending)
        with self._commit_lock:
            if pending.answer is None and pending.fault is None:
                self._commit_together()
        if pending.fault is not None:
            raise pending.fault
        if pending.answer is None:
            raise RuntimeError("a post was neither answered nor failed")
        if isinstance(pending.answer, Exception):
            raise pending.answer
        return pending.answer

    def _take_waiting(self) -> list[_Pending]:
        with self._waiting_lock:
            taken, self._waiting = self._waiting, []
        return taken

    def _commit_together(self) -> None:
        together: list[_Pending] = []
        try:
            try:
                answers = self._commit(together, find_first=False)
            except IntegrityError:
                # what was decided as new had been recorded before
                answers = self._commit(together, find_first=True)
        except BaseException as fault:
            for pending in (*together, *self._take_waiting()):
                pending.fault = fault
            if not isinstance(fault, Exception):
                raise
            return
        for pending, answer in zip(together, answers, strict=True):
            pending.answer = answer

    def _commit(self, together: list[_Pending], *, find_first: bool) -> list[_Answer]:
        """Decide the posts that wait, each alone, and commit what may be recorded.

        They are added to `together` only when the log has been locked: while another worker held
        it, more came. Repeats are rare and looking for them costs as much as a third of
        inserting, so it is done where the rules refuse a post, and for all (`find_first`) once
        the log has refused a row.
        """
        studio = self._studio.name
        with self._engine.begin() as connection:
            with self._waiting_lock:
                asked = {pending.token.token_id for pending in (*together, *self._waiting)}
            locked = self._studio.history.lock_log(connection, asked)
            head = locked.head
            self._check_tree(connection, head)
            view = self._studio.caught_up(connection, head, locked)
            together += self._take_waiting()
            commit = _Commit(Chain(head), view.state, view.now_us)
            unasked = {pending.token.token_id for pending in together}
            may_post = frozenset[str]()
            if locked.is_whole:  # else it took long to catch up, and some may be revoked since
                unasked -= asked
                may_post = locked.unrevoked
            if unasked:
                may_post |= unrevoked(connection, studio, unasked)
            every = [one for pending in together for one in pending.proposals]
            repeats_known = find_repeats(connection, studio, every) if find_first else {}
            answers: list[_Answer] = []
            for pending in together:
                if pending.token.token_id not in may_post:
                    answers.append(TokenRevokedError())
                    continue
                before = commit.copy(), {**repeats_known}
                answer: _Answer
                try:
                    answer = self._answer(connection, commit, repeats_known, pending)
                    if isinstance(answer, Refusal) and not find_first:
                        repeats = find_repeats(connection, studio, pending.proposals)
                        if repeats:
                            repeats_known |= repeats
                            answer = self._answer(connection, commit, repeats_known, pending)
                except SQLAlchemyError:
                    raise  # the transaction is lost, for all
                except Exception as fault:
                    # a fault that one post brings about is its own
                    commit, repeats_known = before
                    answer = fault
                answers.append(answer)
            commit.chain.write(connection, studio, commit=True)
        self._last = commit.chain.head
        self._studio.history.adopt(
            head.position, commit.chain.head.position, commit.state, commit.struck
        )
        return answers

    def _check_tree(self, connection: Connection, head: Head) -> None:
        """Raise FrontierError rather than append to a tree that is not the log's.

        Where this worker appended last, the frontier is compared with the one it left; else it is
        derived from the rows: at the first post, and behind other workers' once in `CHECK_S`.
        """
        last = self._last
        if last is not None and last.position == head.position:
            if last.frontier != head.frontier:
                reason = "the tree's frontier in the head was changed since the last commit"
                raise FrontierError(self._studio.name, head.position, reason)
        elif last is None or time.monotonic() - self._checked_s >= CHECK_S:
            check_frontier(connection, self._studio.name, head)
            self._checked_s = time.monotonic()

    def _answer(
        self,
        connection: Connection,
        commit: _Commit,
        repeats_known: dict[Key, Repeat],
        pending: _Pending,
    ) -> tuple[Receipt, ...] | Refusal:
        """Decide one post and, if it may be recorded, add it to the commit."""
        new, reused = sort_out(repeats_known, pending.proposals)
        if reused:
            return Refusal(tuple(reused))
        new = [new[one] for one in strikes_first([pending.proposals[place].fact for place in new])]
        events = [
            event_of(pending.proposals[place], position, commit.recorded_us, pending.token)
            for position, place in enumerate(new, commit.chain.head.position + 1)
        ]
        actor = actor_of(pending.token)
        forbidden = self._forbidden_strikes(connection, events, actor)
        decided = (
            Refusal(tuple(forbidden))
            if forbidden
            else decide(commit.state, events, actor, self._past(connection, commit, events), quoted)
        )
        if isinstance(decided, Refusal):
            return at_places(decided, new)
        recorded = _placed(decided.events, new, pending.proposals)
        derived = {(one.source, one.id): place for place, one, event in recorded if event.cause}
        if derived:
            repeats_known |= find_keys(connection, self._studio.name, list(derived))
            taken = sort_out_derived(repeats_known, pending.proposals, derived)
            if taken:
                return Refusal(tuple(taken))
        self._add(commit, repeats_known, pending, decided, recorded)
        behind = {
            place: keys_behind(commit.state, proposed)
            for place, proposed in enumerate(pending.proposals)
        }
        unknown = [key for keys in behind.values() for key in keys if key not in repeats_known]
        if unknown:
            repeats_known |= find_keys(connection, self._studio.name, unknown)
        fresh = set(new)
        return tuple(
            self._receipt(commit, repeats_known[key], key, place not in fresh, kept_aside)
            for place, proposed in enumerate(pending.proposals)
            for key, kept_aside in (
                ((proposed.source, proposed.id), proposed.kept_aside),
                *((key, ()) for key in behind[place]),
            )
            if key in repeats_known
        )

    def _receipt(
        self, commit: _Commit, at: Repeat, key: Key, repeated: bool, kept_aside: tuple[str, ...]
    ) -> Receipt:
        struck_at = commit.struck.get(at.position)
        if repeated and struck_at is None:
            struck_at = self._studio.history.strike_of(at.position)
        marks = commit.state.marks.get(at.position, ())
        return Receipt(*key, at.position, at.recorded_us, repeated, marks, struck_at, kept_aside)

    def _add(
        self,
        commit: _Commit,
        repeats_known: dict[Key, Repeat],
        pending: _Pending,
        decided: Accepted,
        recorded: Sequence[_Placed],
    ) -> None:
        """Take what was decided into the commit: state, rows, and what is known from now on."""
        commit.state = decided.state
        strikes = {event.fact.position: event.position for event in decided.events
                   if isinstance(event.fact, EventStruck)}  # fmt: skip
        commit.struck |= strikes
        commit.events += decided.events
        by = recorded_by(pending.token.name, pending.token.role, commit.recorded_us)
        for _, proposed, event in recorded:
            seal(commit.chain, event, proposed, by)
            repeats_known[proposed.source, proposed.id] = Repeat(
                event.position,
                event.recorded_us,
                proposed.content_hash,
                text_hash(proposed.personal),
            )

    def _forbidden_strikes(
        self, connection: Connection, events: Sequence[Event], actor: Actor
    ) -> list[Reason]:
        """Why strikes are not the actor's to record, before the past is read for them.

        That takes long while the log is locked, and anybody may ask for what is refused.
        """
        strikes = {
            place: event.fact.position
            for place, event in enumerate(events)
            if isinstance(event.fact, EventStruck)
        }
        struck = self._studio.history.events_at(connection, set(strikes.values()))
        return [
            reason
            for place, position in strikes.items()
            if position in struck
            for reason in may_not_strike(struck[position], actor, place)
        ]

    def _past(
        self, connection: Connection, commit: _Commit, events: Sequence[Event]
    ) -> Past | None:
        strikes = [e.fact.position for e in events if isinstance(e.fact, EventStruck)]
        if not strikes:
            return None
        recorded = commit.chain.head.position - len(commit.events)
        reached = min([*strikes, *commit.struck, recorded + 1])
        past = self._studio.history.past(connection, max(1, reached), recorded, commit.events)
        struck = past.struck | set(commit.struck)
        unstruck = tuple(event for event in past.events if event.position not in struck)
        return past._replace(events=unstruck, struck=struck)


def _placed(
    events: Sequence[Event], new: Sequence[int], proposals: Sequence[Proposed]
) -> list[_Placed]:
    """Events as they are decided, with what is proposed for each and its place in the post.

    A fact behind an approval has the approval's place.
    """
    places = iter(new)
    placed: list[_Placed] = []
    for event in events:
        if event.cause:
            placed.append((placed[-1][0], proposal_of(event), event))
        else:
            place = next(places)
            placed.append((place, proposals[place], event))
    return placed


def actor_of(token: Token) -> Actor:
    """Who posts, as the rules see them."""
    return Actor(token.name, Role(token.role), tuple(token.departments))
