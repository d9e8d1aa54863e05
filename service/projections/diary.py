"""A page of an episode's diary: the events about it, each with what it changed when it came.

The log is walked forward once for a page. A state is folded on from the one before; where a strike
or a long gap lies between, it is asked of the worker. Plans are made only for events that can move
one, two at most for each.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection

from service.log.about import About, events_about
from service.log.read import PAGE_BYTES_MAX, READ_EVENTS, Stored, bodies, every
from service.planning.board.board import advance
from service.planning.board.faults import PlanError, planning
from service.planning.compare.diary import (
    Delivery,
    TakeChange,
    changed_takes,
    delivery,
    moves_plans,
)
from service.planning.plan.schedule import Schedule, Supposition, schedule, suppositions
from service.production.folding import fold
from service.production.state import State
from service.studio import Studio
from service.vocabulary.event import Event, read_event
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.facts.retakes import RetakeBoughtAsIs, RetakeWithdrawn
from service.vocabulary.instants import US_PER_MIN

WALKED_EVENTS_MAX = 1024
"""Across a longer gap the worker is asked for the state: it keeps some on the way."""


class DiaryEntry(NamedTuple):
    """An event about an episode, and what it changed as the record was then.

    `before` and `after` are None where no plan depends on the event, or where none could be made:
    `unplanned` then says why; `supposed` is what the plan behind it supposed of stoppages.
    `struck_at` is the position of the strike by which the event does not count any more, None while
    it stands.
    """

    stored: Stored
    event: Event
    marks: tuple[str, ...]
    struck_at: int | None
    changes: tuple[TakeChange, ...]
    before: Delivery | None
    after: Delivery | None
    unplanned: PlanError | None = None
    supposed: tuple[Supposition, ...] = ()


class DiaryPage(NamedTuple):
    """Entries in order of position, and whether more follow."""

    page: list[DiaryEntry]
    more: bool


def about_episode(state: State, episode: str) -> About:
    """What has to do with an episode: elements its scenes use, retakes that reach it."""
    scenes = state.episodes[episode].scenes
    items = {episode, *scenes}
    elements = {name for scene in scenes for name in state.scenes[scene].elements}
    calls = [
        retake.position
        for retake in state.retakes.values()
        if any(step.node[0] in items for step in retake.reach)
    ]
    return About(episode, sorted(elements), calls)


def read_diary(
    connection: Connection,
    studio: Studio,
    state: State,
    episode: str,
    *,
    after: int,
    limit: int,
    until: int,
    bytes_max: int = PAGE_BYTES_MAX,
    walked_events_max: int = WALKED_EVENTS_MAX,
) -> DiaryPage:
    """At most `limit` events about an episode after a position, in order, up to another one.

    `state` is the studio's at `until`. Struck events are among them, and the strikes. They are
    fewer where they would be more than `bytes_max`.
    """
    struck = studio.history.strikes_at(until)
    about = all_about(connection, studio.name, state, episode, struck)
    rows, more = events_about(
        connection,
        studio.name,
        about,
        after=after,
        limit=limit,
        until_position=until,
        without=(),
        bytes_max=bytes_max,
    )
    walk = _Walk(connection, studio, episode, about.subjects, walked_events_max)
    return DiaryPage([walk.entry(row, struck.get(row.position)) for row in rows], more)


def all_about(
    connection: Connection,
    studio: str,
    state: State,
    episode: str,
    struck: dict[int, int],
    read_events: int = READ_EVENTS,
) -> About:
    """What has to do with an episode, struck events and ends of retakes that reached it too.

    `struck` are the events struck by then, with the positions of their strikes. Events are read
    `read_events` at a time.
    """
    about = about_episode(state, episode)
    items = {episode, *state.episodes[episode].scenes, *about.subjects}
    positions = list(about.positions)
    gone = list(_every(connection, studio, read_events, positions=sorted(struck)))
    for event in gone:
        if event.subject in items or _names(event, items):
            positions += [event.position, struck[event.position]]
    chosen = set(positions)
    codes = {code for code, one in state.retakes.items() if one.position in chosen}
    codes |= {getattr(one.fact, "retake", "") for one in gone if one.position in chosen}
    for type_ in (RetakeWithdrawn.TYPE, RetakeBoughtAsIs.TYPE):
        ends = _every(connection, studio, read_events, type=type_)
        positions += [event.position for event in ends if event.fact.retake in codes]  # type: ignore[attr-defined]  # both types name one
    return About(episode, about.subjects, sorted(set(positions)))


def _names(event: Event, items: Iterable[str]) -> bool:
    return not set(getattr(event.fact, "items", ())).isdisjoint(items)


def _every(
    connection: Connection, studio: str, read_events: int, **filters: Any
) -> Iterator[Event]:
    """All events that are asked for, in order of position."""
    rows = every(connection, studio, read_events=read_events, **filters)
    return (read_event(row.body) for row in rows)


class _Walk:
    """A walk forward over the log, from event to event."""

    def __init__(
        self,
        connection: Connection,
        studio: Studio,
        episode: str,
        elements: Sequence[str],
        walked_events_max: int,
    ) -> None:
        self._connection = connection
        self._studio = studio
        self._episode = episode
        self._elements = elements
        self._walked_events_max = walked_events_max
        self._state: State | None = None
        self._position = 0
        self._planned: Schedule | None = None

    def entry(self, row: Stored, struck_at: int | None) -> DiaryEntry:
        """What an event behind those before changed."""
        event = read_event(row.body)
        before = self._go_to(row.position - 1)
        if isinstance(event.fact, EventStruck):
            after = self._studio.history.as_known_at(row.position)
        else:
            after = fold(before, [event])
        self._state, self._position = after, row.position
        was = will = unplanned = None
        supposed: tuple[Supposition, ...] = ()
        if moves_plans(event):
            now_min = event.recorded_us // US_PER_MIN
            try:
                with planning():
                    was = delivery(self._plan(before, now_min), self._episode)
                    will = delivery(self._plan(after, now_min), self._episode)
                supposed = tuple(suppositions(after, now_min).values())
            except PlanError as fault:
                was, unplanned = None, fault
        record = after.episodes.get(self._episode) or before.episodes.get(self._episode)
        items = (self._episode, *(record.scenes if record else ()), *self._elements)
        return DiaryEntry(
            row,
            event,
            after.marks.get(row.position, ()),
            struck_at,
            tuple(changed_takes(before, after, items)),
            was,
            will,
            unplanned,
            supposed,
        )

    def _go_to(self, position: int) -> State:
        """The state as it was known at a position."""
        if self._state is None or position - self._position > self._walked_events_max:
            return self._studio.history.as_known_at(position)
        if position == self._position:
            return self._state
        rows = bodies(self._connection, self._studio.name, self._position, position)
        events = [read_event(body) for _, body in rows]
        if any(isinstance(event.fact, EventStruck) for event in events):
            return self._studio.history.as_known_at(position)
        return fold(self._state, events)

    def _plan(self, state: State, now_min: int) -> Schedule:
        """The plan of a state; the one made last serves again where it is of the same."""
        planned = self._planned
        if planned is None:
            planned = self._studio.plans.of(state, now_min)
        elif planned.state is not state or planned.now_min != now_min:
            planned = schedule(advance(planned.board, state), now_min)
        self._planned = planned
        return planned
