"""One step of the date trail: what moved each episode's projected delivery within one minute.

First the old state at the new minute (time passing), then the new state. Only where a date moved
over the whole minute is it looked at event by event, by halving. Strikes are a step by themselves.
"""

from collections.abc import Callable, Mapping, Sequence
from itertools import groupby
from typing import NamedTuple

from service.planning.board.board import advance, advance_visits
from service.planning.board.frame import order_of
from service.planning.plan.chain import first_of_chain
from service.planning.plan.schedule import Schedule, delivery_min, schedule
from service.planning.plan.unmoved import stands_until
from service.production.folding import fold
from service.production.state import Node, State
from service.vocabulary.event import Event
from service.vocabulary.facts import desks, office, supervision, talk
from service.vocabulary.facts.record import EventStruck

EVENT, TIME = "event", "time"
CAUSES = (EVENT, TIME)

MOVES_NO_DATE = frozenset(
    {
        desks.HandOutMade,  # hand-outs do not bind the plan
        talk.NoteGiven,
        talk.NoteAnswered,
        supervision.SceneBought,
        office.HookUpDeclared,
    }
)
"""Facts that no plan depends on: no plan is made to see what they moved."""

_VISITS_ALONE = MOVES_NO_DATE | {desks.WorkStarted, desks.HandOffMade}
"""Facts that change nothing of what is planned but visits of their subject."""


class DateMove(NamedTuple):
    """One row of an episode's trail: its projected delivery before and after, and what moved it.

    `number` counts an episode's rows from 1. `position` is the event's; where time passed, that of
    the last event before. `waited_for` is then the visit that was waited for, and `department` its
    department. Dates are minutes at which the last work ends, None where they cannot be said.
    `delta_min` is the difference to the last date that could be said, None where there is none; so
    the deltas of a trail add up to the move from the first projection to the present one.
    """

    episode: str
    number: int
    at_min: int
    position: int
    cause: str
    type: str | None
    subject: str | None
    retake: str | None
    retake_kind: str | None
    department: str | None
    waited_for: str | None
    before_min: int | None
    after_min: int | None
    delta_min: int | None


class TrailEnd(NamedTuple):
    """Where an episode's trail stands: its rows, its date, and the last date that could be said."""

    rows: int
    date_min: int | None
    known_min: int | None


class Walk(NamedTuple):
    """How far a trail has been walked: a state of the log at a minute, and a plan that holds there.

    `schedule` may be of an earlier minute or of a state that lacks facts of MOVES_NO_DATE;
    `touched` are the items which those are about.
    """

    schedule: Schedule
    state: State
    touched: frozenset[str]
    now_min: int
    position: int
    ends: Mapping[str, TrailEnd]


Dates = list[tuple[str, int | None]]
"""Episodes in their total order, each with a date as `dates` has it."""

Breathe = Callable[[], None]
"""Called before each plan, so that the caller may rest or raise what ends the walk."""


def begin(planned: Schedule, position: int, ends: Mapping[str, TrailEnd]) -> Walk:
    """A walk that goes on from the plan of a state of the log, whose dates are in `ends`."""
    return Walk(planned, planned.state, frozenset(), planned.now_min, position, ends)


def begin_apart(planned: Schedule, position: int) -> Walk:
    """A walk that goes on from the plan of a state of the log before what precedes it is walked.

    It takes the plan's dates for those at which the trail stands. Where they are, `counted_on`
    makes its rows those of a walk that came all the way.
    """
    found = dates(planned, {})
    return begin(planned, position, {name: TrailEnd(0, at, at) for name, at in found.items()})


def counted_on(
    moves: Sequence[DateMove], ends: Mapping[str, TrailEnd]
) -> tuple[list[DateMove], dict[str, TrailEnd]]:
    """Rows numbered on from where each episode's trail stands, with their deltas, and the end."""
    going = dict(ends)
    counted = []
    for move in moves:
        cause = _Cause(
            move.cause, move.type, move.subject, move.retake, move.retake_kind, move.department,
            move.waited_for,
        )  # fmt: skip
        counted.append(_row(going, move.episode, move.after_min, cause, move.at_min, move.position))
    return counted, going


def step(
    walk: Walk,
    now_min: int,
    events: Sequence[Event],
    after_strike: Callable[[int], State],
    breathe: Breathe = lambda: None,
) -> tuple[list[DateMove], Walk]:
    """The rows of one minute, and the walk at its end.

    `events` were recorded in it, in order of position: all of them, or so many that the next is no
    strike where the last is one. Strikes that follow each other are one step, since what a batch of
    them has struck half-way was never so: `after_strike` gives the log's state right after the
    position of the last of them.
    """
    moves, walk = pass_time(walk, now_min, breathe)
    for strikes, run in groupby(events, lambda event: isinstance(event.fact, EventStruck)):
        if not strikes:
            more, walk = _moves_of(walk, tuple(run), breathe)
            moves += more
            continue
        *_, last = run
        breathe()
        state = after_strike(last.position)
        after = schedule(advance(walk.schedule.board, state), now_min, walk.schedule)
        more, walk = _moved_by(walk, last, after, _moved(walk, after))
        moves += more
    return moves, walk


def pass_time(
    walk: Walk, now_min: int, breathe: Breathe = lambda: None
) -> tuple[list[DateMove], Walk]:
    """The rows of time passing from the walk's minute to a later one, and the walk there."""
    if stands_until(walk.schedule) >= now_min:
        return [], walk._replace(now_min=now_min)
    breathe()
    after = schedule(walk.schedule.board, now_min, walk.schedule)
    moves = []
    ends = dict(walk.ends)
    for episode, date_min in _moved(walk, after):
        waited = _waited_for(after, episode)
        cause = _Cause(TIME, department=waited and waited[1], waited_for=waited and waited[0])
        moves.append(_row(ends, episode, date_min, cause, now_min, walk.position))
    return moves, walk._replace(schedule=after, now_min=now_min, ends=ends)


def dates(planned: Schedule, begun: Mapping[str, object]) -> dict[str, int | None]:
    """The delivery of every episode whose trail has begun or begins: one has a scene by then.

    A delivered episode's is when it was delivered; None where none can be said.
    """
    found: dict[str, int | None] = dict.fromkeys(begun)
    for name, episode in planned.state.episodes.items():
        if episode.scenes or name in begun:
            found[name] = delivery_min(planned, name)
    return found


class _Cause(NamedTuple):
    """What a row says of its cause."""

    cause: str
    type: str | None = None
    subject: str | None = None
    retake: str | None = None
    retake_kind: str | None = None
    department: str | None = None
    waited_for: str | None = None


def _moves_of(
    walk: Walk, events: tuple[Event, ...], breathe: Breathe, after: Schedule | None = None
) -> tuple[list[DateMove], Walk]:
    """The rows of events without a strike among them; `after` is the plan behind them if known."""
    if all(type(event.fact) in MOVES_NO_DATE for event in events):
        touched = walk.touched.union(event.subject for event in events)
        state = fold(walk.state, events)
        return [], walk._replace(state=state, touched=touched, position=events[-1].position)
    if after is None:
        breathe()
        after = _planned(walk, events)
    moved = _moved(walk, after)
    if not moved:
        return [], _arrived(walk, events[-1], after)
    if len(events) == 1:
        return _moved_by(walk, events[0], after, moved)
    half = len(events) // 2
    moves, between = _moves_of(walk, events[:half], breathe)
    more, walk = _moves_of(between, events[half:], breathe, after)
    return moves + more, walk


def _planned(walk: Walk, events: tuple[Event, ...]) -> Schedule:
    """The plan behind events."""
    state, board = fold(walk.state, events), walk.schedule.board
    if all(type(event.fact) in _VISITS_ALONE for event in events):
        board = advance_visits(board, state, walk.touched.union(event.subject for event in events))
    else:
        board = advance(board, state)
    return schedule(board, walk.now_min, walk.schedule)


def _moved_by(
    walk: Walk, event: Event, after: Schedule, moved: Dates
) -> tuple[list[DateMove], Walk]:
    """The rows of one event that moved some dates, and the walk behind it."""
    cause = _cause_of(event, walk.state, after.state)
    ends = dict(walk.ends)
    moves = [
        _row(ends, episode, date_min, cause, walk.now_min, event.position)
        for episode, date_min in moved
    ]
    return moves, _arrived(walk, event, after)._replace(ends=ends)


def _arrived(walk: Walk, last: Event, after: Schedule) -> Walk:
    return walk._replace(
        schedule=after, state=after.state, touched=frozenset(), position=last.position
    )


def _moved(walk: Walk, after: Schedule) -> Dates:
    """Episodes with another date than their trail's last, and those whose trail begins."""
    ends = walk.ends
    found = [
        (episode, date_min)
        for episode, date_min in dates(after, ends).items()
        if episode not in ends or ends[episode].date_min != date_min
    ]
    return sorted(found, key=lambda one: order_of(one[0]))


def _row(
    ends: dict[str, TrailEnd],
    episode: str,
    date_min: int | None,
    cause: _Cause,
    now_min: int,
    position: int,
) -> DateMove:
    """An episode's next row, with which its trail ends from now on."""
    count, before_min, known_min = ends.get(episode, TrailEnd(0, None, None))
    delta_min = None if date_min is None or known_min is None else date_min - known_min
    last_min = known_min if date_min is None else date_min
    ends[episode] = TrailEnd(count + 1, date_min, last_min)
    return DateMove(episode, count + 1, now_min, position, *cause, before_min, date_min, delta_min)


def _cause_of(event: Event, before: State, after: State) -> _Cause:
    """What a row says of an event; of a strike, also which retake it struck."""
    fact = event.fact
    if isinstance(fact, EventStruck):
        code = next(
            (code for code, one in before.retakes.items() if one.position == fact.position), None
        )
    else:
        code = getattr(fact, "retake", None)
    retake = None if code is None else after.retakes.get(code) or before.retakes.get(code)
    department = getattr(fact, "department", None) or getattr(fact, "back_to", None)
    return _Cause(
        EVENT,
        fact.TYPE,
        event.subject,
        code,
        None if retake is None else retake.kind,
        department or (None if retake is None else retake.back_to),
    )


def _waited_for(planned: Schedule, episode: str) -> Node | None:
    """The first visit of an episode's critical chain: it is on a desk, or not started yet."""
    row = first_of_chain(planned, episode)
    return None if row is None else planned.board.frame.nodes[row]
