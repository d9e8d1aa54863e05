"""What a worker knows of one studio's record: caught up by position, with states on the way.

`kept` says what a kept state is.
"""

import threading
from collections.abc import Collection, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

from sqlalchemy import Connection, Engine

from service.kept import USUAL, Keeping, KeptStates, Snapshots, load
from service.log.append import Head, read_head
from service.log.locking import Locked, lock_log
from service.log.read import bodies, every, page, strikes
from service.production.decide import Past, Retold, retell
from service.production.folding import fold
from service.production.state import EMPTY, State
from service.vocabulary.event import Event, read_event
from service.vocabulary.facts.record import EventStruck


def _struck_by(bodies: Iterable[bytes]) -> dict[int, int]:
    """Which events are struck by those among these bodies that are strikes, and where."""
    strikes = (read_event(body) for body in bodies if b'"event.struck"' in body)
    return {
        strike.fact.position: strike.position
        for strike in strikes
        if isinstance(strike.fact, EventStruck)
    }


class History:
    """The record of one studio as a worker has folded it; safe to use from several threads.

    Without the key of seals it is folded from its beginning.
    """

    def __init__(
        self,
        name: str,
        engine: Engine,
        seal_key: bytes | None = None,
        keeping: Keeping = USUAL,
    ) -> None:
        self.name = name
        self._engine = engine
        self._lock = threading.RLock()
        self._seal_key = seal_key
        self._keeping = keeping
        self.snapshots = Snapshots(name, engine, seal_key, keeping.snapshot_every)
        self._begin_anew()

    def _begin_anew(self) -> None:
        """Know nothing of the log."""
        self._position = 0
        self._state = EMPTY
        self._struck: dict[int, int] = {}
        self._kept = KeptStates(self.name, self._seal_key, self._keeping)

    def apart(self) -> "History":
        """A second fold of the same log, which `at` moves from position to position.

        This one stays where it is, and the second writes no snapshots.
        """
        made = History(self.name, self._engine, self._seal_key, self._keeping)
        made.snapshots = Snapshots(self.name, self._engine, None, self._keeping.snapshot_every)
        return made

    def at(self, position: int) -> State:
        """The state as it was known at a position, where a commit or its strikes ended.

        It is folded on from the position asked for before; for an earlier one from the beginning,
        or a snapshot.
        """
        with self._lock, self._engine.connect() as connection:
            if self._position > position:
                self._begin_anew()
            head = read_head(connection, self.name)
            try:
                _, state = self.caught_up(connection, head._replace(position=position))
            except BaseException:
                # it may know strikes that lie behind where it stands: no earlier one may be asked
                self._begin_anew()
                raise
            return state

    def lock_log(self, connection: Connection, token_ids: Iterable[str]) -> Locked:
        """Lock the log until the transaction ends, and read what a commit must know.

        Before any of the log was folded its events are not read: a snapshot may spare most of them.
        """
        after = self._position
        rows_max = self._keeping.read_at_once if after else 0
        return lock_log(connection, self.name, token_ids, after, rows_max)

    def caught_up(
        self, connection: Connection, head: Head, locked: Locked | None = None
    ) -> tuple[Head, State]:
        """What is known at a head that this connection can see, and the head: a later one maybe.

        Events that were read when the log was `locked` are not read again.
        """
        with self._lock:
            if self._position > head.position:
                # another thread is further on already: its view serves as well
                head = read_head(connection, self.name)
            if self._position == 0 < head.position:
                self._start_warm(connection, head.position)
            while self._position < head.position:
                self._take_in(connection, head.position, locked)
            self.snapshots.passed(self._position, self._state, self._struck)
            return head, self._state

    def _start_warm(self, connection: Connection, until: int) -> None:
        """Begin with the last snapshot instead of nothing, if there is one."""
        found = load(connection, self.name, until, self._seal_key)
        if found is not None:
            self._position, (self._state, self._struck) = found
            self._kept.keep(self._position, self._state)
            self.snapshots.started_at(self._position)

    def _take_in(self, connection: Connection, until: int, locked: Locked | None) -> None:
        """Fold on to a position at which a commit ended."""
        rows: list[tuple[int, bytes]] = []
        if locked is not None and locked.after <= self._position:
            rows = locked.rows[self._position - locked.after :]
        if not rows:
            rows = bodies(connection, self.name, self._position, until, self._keeping.read_at_once)
        # what is struck further on need not be folded first
        far = rows[-1][0] < until
        later = strikes(connection, self.name, rows[-1][0], until) if far else []
        struck = _struck_by([*(body for _, body in rows), *later])
        if not struck or min(struck) > self._position:
            self._struck |= struck
            self._fold_on(self._state, rows, until)
        else:
            self._struck |= struck
            self._position, self._state = self._kept.before(connection, min(struck), self._struck)
            self._kept.forget_from(min(struck))
        if self._position < until:
            self._read_on(connection, until)

    def _read_on(self, connection: Connection, until: int) -> None:
        """Fold the log chunk by chunk; the next one is read while one is folded."""
        with ThreadPoolExecutor(1) as ahead:

            def read(after: int) -> Future[list[tuple[int, bytes]]]:
                return ahead.submit(
                    bodies, connection, self.name, after, until, self._keeping.read_at_once
                )

            coming = read(self._position)
            while self._position < until:
                rows = coming.result()
                if rows[-1][0] < until:
                    coming = read(rows[-1][0])
                self._fold_on(self._state, rows, until)

    def _fold_on(self, state: State, rows: Sequence[tuple[int, bytes]], head: int) -> None:
        """Go on from a state over rows of the log, and keep states on the way.

        The nearer to the head, the more: states far before it are kept sparsely anyhow.
        """
        far = rows[0][0] < head - self._keeping.states_most * self._keeping.every
        step = self._keeping.far_every if far else self._keeping.every
        for first in range(0, len(rows), step):
            some = rows[first : first + step]
            events = (read_event(body) for position, body in some if position not in self._struck)
            state = fold(state, events)
            self._adopt(state, some[-1][0])

    def adopt(self, before: int, after: int, state: State, struck: dict[int, int]) -> None:
        """Take over what was just committed, unless another thread has read it already."""
        with self._lock:
            if self._position != before:
                return
            if struck:
                self._struck |= struck
                self._kept.forget_from(min(struck))
            self._adopt(state, after)
            self.snapshots.passed(after, state, self._struck)

    def _adopt(self, state: State, position: int) -> None:
        self._state, self._position = state, position
        self._kept.passed(position, state)

    def _events(self, connection: Connection, after: int, until: int) -> list[Event]:
        rows = bodies(connection, self.name, after, until)
        return [read_event(body) for _, body in rows]

    def events_at(self, connection: Connection, positions: Collection[int]) -> dict[int, Event]:
        """The events at some positions, as far as the log has them, by position."""
        if not positions:
            return {}
        found = every(connection, self.name, positions=sorted(positions))
        return {stored.position: read_event(stored.body) for stored in found}

    def past(self, connection: Connection, before: int, until: int, new: Iterable[Event]) -> Past:
        """What a strike of an event at or behind `before` is decided against.

        `new` are events decided in this transaction, behind `until`.
        """
        base_position, base = self._base(connection, before, until)
        struck = self.struck_at(until)
        events = [*self._events(connection, base_position, until), *new]
        unstruck = tuple(event for event in events if event.position not in struck)
        return Past(base, unstruck, struck)

    def as_known_at(self, position: int) -> State:
        """The state as it was known when the log stood at a position."""
        with self._lock:
            if position == self._position:
                return self._state
        with self._engine.connect() as connection:
            base_position, base = self._base(connection, position + 1, position)
            with self._lock:
                struck = {event_at for event_at, at in self._struck.items() if at <= position}
                undone = any(event_at <= position < at for event_at, at in self._struck.items())
                between_strikes = {position, position + 1} <= set(self._struck.values())
                strikes = len(self._struck)
            events = self._events(connection, base_position, position)
            if between_strikes:
                around = self.events_at(connection, (position, position + 1))
        unstruck = [event for event in events if event.position not in struck]
        if between_strikes and len({event.recorded_us for event in around.values()}) == 1:
            # maybe of one batch: some of what rests on the first ones still stands
            return retell(base, unstruck).state
        state = fold(base, unstruck)
        if len(events) >= self._keeping.every and not undone:
            self._keep_between(position, state, strikes)
        return state

    def _base(self, connection: Connection, before: int, until: int) -> tuple[int, State]:
        """The last kept state before a position that lacks nothing of what stood at `until`.

        Kept states are without all that was struck since. Reading a snapshot may take a second,
        so that it holds nobody up who needs the studio.
        """
        with self._lock:
            struck = dict(self._struck)
            bound = min([before, *(event_at for event_at, at in struck.items() if at > until)])
            found = self._kept.nearest(bound)
        nearer = self._kept.nearer_snapshot(connection, bound, found[0], struck)
        if nearer is None:
            return found
        self._keep_between(*nearer, len(struck))
        return nearer

    def _keep_between(self, position: int, state: State, strikes: int) -> None:
        """Keep a state behind one that a strike made forget those that followed."""
        with self._lock:
            if len(self._struck) == strikes:
                self._kept.keep(position, state)

    def struck_at(self, position: int) -> frozenset[int]:
        """Positions of the events that were struck when the log stood at a position."""
        return frozenset(self.strikes_at(position))

    def strikes_at(self, position: int) -> dict[int, int]:
        """The same, each with the position of its strike."""
        with self._lock:
            return {event_at: at for event_at, at in self._struck.items() if at <= position}

    def strike_of(self, position: int) -> int | None:
        """The position of the strike by which an event does not count any more; None: it stands."""
        with self._lock:
            return self._struck.get(position)

    def as_it_happened(self, at_us: int, until: int) -> Retold:
        """The state as the log up to a position tells it to have been at an instant.

        That is the fold, in order of position, of what stands and happened by then; what the rules
        refuse in that subset is set aside.
        """
        with self._engine.connect() as connection:
            later = page(connection, self.name, after=0, limit=1, time_from_us=at_us + 1)
            first = min([until + 1, *(stored.position for stored in later)])
            base_position, base = self._base(connection, first, until)
            struck = self.struck_at(until)
            rows = every(
                connection,
                self.name,
                after=base_position,
                until_position=until,
                time_until_us=at_us,
            )
            events = [read_event(row.body) for row in rows]
        return retell(base, [event for event in events if event.position not in struck])
