"""From the state to arrays: where each visit of a frame stands.

`advance` patches a board for the items whose records changed, found by identity: the state's maps
are persistent, so what did not change is the same object.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from service.planning.board.changes import StateEntries
from service.planning.board.faults import PlanError, planning
from service.planning.board.frame import NO_FRAME, Frame, make_frame, owner_of, planned_episodes
from service.planning.board.reframe import reframe, sources_touched
from service.planning.kernel.line import ON_DESK, OUT, WAITING, Int8s, Int64s
from service.production.lending import Lending, in_picture
from service.production.meeting import same_hand_offs
from service.production.state import (
    Element,
    Episode,
    Meeting,
    Scene,
    State,
    item_of,
    line_departments,
    priority_of,
    visit_of,
)
from service.production.takes import Phase, Take
from service.production.visits import Visit
from service.production.work import base_work_e4, work_of_take_e4
from service.vocabulary.instants import US_PER_MIN

Item = Scene | Element | Episode
Met = dict[tuple[str, str], Meeting | None]
"""By episode and gate, how a gate stands; None where the route has no department that meets it."""


@dataclass(frozen=True, eq=False, slots=True)
class Board:
    """Where every visit of a frame stands at a position of the log.

    By row: `phase` (WAITING, ON_DESK, OUT), `work_e4` asked of the current take, `started_min`,
    `ended_min` of the last hand-off and `first_ended_min` of the first (-1 where there is none),
    `priority`, `must_fix`, `lent` (of a scene out of the picture, needed by others) and `held_on`
    (day number of a hold's date, 0 where none holds it).
    `met` are the gates that were asked about.
    """

    state: State
    frame: Frame
    entries: StateEntries
    phase: Int8s
    work_e4: Int64s
    started_min: Int64s
    ended_min: Int64s
    first_ended_min: Int64s
    priority: Int64s
    must_fix: Int8s
    lent: Int8s
    held_on: Int64s
    since: "Since | None" = None
    met: Met = field(default_factory=dict)

    def item_at(self, row: int) -> str:
        """The item whose visit a row is."""
        return self.frame.nodes[row][0]

    def changed_visits(self, before: "Board") -> list[str]:
        """Items with visits that differ from those of another board."""
        if self.since is not None and self.since.entries is before.entries:
            return self.since.visits
        return before.entries.changed_visits(self.entries)


_VISITS_COLUMNS = (
    "phase",
    "work_e4",
    "started_min",
    "ended_min",
    "first_ended_min",
    "must_fix",
    "lent",
)
_ITEMS_COLUMNS = ("priority", "held_on")
"""What a board has of items' records; boards that differ in visits alone share these."""
COLUMNS = (*_VISITS_COLUMNS, *_ITEMS_COLUMNS)
_SMALL_COLUMNS = ("phase", "must_fix", "lent")
CHANGED_SHARE_MOST = 0.5
"""If a greater share of the items changed, a board is made anew."""
Visits = dict[str, Visit]
_NONE: Visits = {}


class Since(NamedTuple):
    """What was found when a board was made of another: what that knew, and visits that differ."""

    entries: StateEntries
    visits: list[str]


class BoardRow(NamedTuple):
    """One row of a board."""

    phase: int
    work_e4: int
    started_min: int
    ended_min: int
    first_ended_min: int
    must_fix: bool


@planning()
def make_board(state: State) -> Board:
    """The board of a state, from nothing. Raises PlanError where none can be made."""
    board = _blank(state, make_frame(state))
    lending = Lending(state)
    for item in board.frame.items:
        _fill(board, lending, item)
    return board


def without_rows(state: State) -> Board:
    """A board on which nothing is planned, for a state of which no plan can be made."""
    return _blank(state, NO_FRAME)


def _blank(state: State, frame: Frame) -> Board:
    """A board whose rows have yet to be written."""
    count = len(frame.department)
    columns: dict[str, Any] = {name: np.zeros(count, np.int64) for name in COLUMNS}
    columns |= {name: np.zeros(count, np.int8) for name in _SMALL_COLUMNS}
    return Board(state, frame, StateEntries.of(state), **columns)


@planning()
def advance(board: Board, state: State, changed_share_most: float = CHANGED_SHARE_MOST) -> Board:
    """The board of another state: what differs is patched; where most does, it is made anew.

    That is where more than `changed_share_most` of all items differ. Raises PlanError where none
    can be made.
    """
    if state is board.state:
        return board
    entries = StateEntries.of(state)
    changed, moved = board.entries.changed_records(entries), board.entries.changed_visits(entries)
    most = changed_share_most * len(board.frame.items)
    if not len(board.phase) or max(len(changed), len(moved)) > most:
        return make_board(state)
    whole = {
        *changed,
        *_counted_otherwise(board.state, state, changed),
        *sources_touched(board.state, state, changed),
    }
    reframed = reframe(board.frame, board.state, state, changed)
    if reframed is None:
        frame = board.frame
        columns = {name: getattr(board, name).copy() for name in COLUMNS}
    else:
        frame = reframed.frame
        columns = {name: getattr(board, name).take(reframed.source) for name in COLUMNS}
        whole |= reframed.fresh
    met = _met_still(board, state, changed, moved)
    fresh = Board(state, frame, entries, **columns, since=Since(board.entries, moved), met=met)
    lending = Lending(state)
    for item in whole:
        _fill(fresh, lending, item)
    for item in moved:
        if item not in whole:
            _fill(fresh, lending, item, board.state.visits.get(item, _NONE))
    _prioritise(fresh, board.state, changed)
    return fresh


@planning()
def advance_visits(board: Board, state: State, items: Iterable[str]) -> Board:
    """The board of another state in which nothing differs but visits of some items.

    No search is made for what differs, which takes as long as the log has items. Raises PlanError
    where no board can be made.
    """
    columns = {name: getattr(board, name).copy() for name in _VISITS_COLUMNS}
    columns |= {name: getattr(board, name) for name in _ITEMS_COLUMNS}
    moved = list(items)
    met = _met_still(board, state, (), moved)
    fresh = Board(state, board.frame, StateEntries.of(state), **columns, met=met)
    lending = Lending(state)
    for item in moved:
        _fill(fresh, lending, item, board.state.visits.get(item, _NONE))
    return fresh


def _met_still(before: Board, state: State, changed: Iterable[str], moved: Iterable[str]) -> Met:
    """What a board has found of gates that nothing recorded since can have changed.

    `changed` are items with other records, `moved` those with other visits.
    """
    met = before.met.copy()  # whole at once: another thread may be adding to it
    if not met:
        return met
    episodes = {owner_of(state, item) for item in changed}
    met = {gate: found for gate, found in met.items() if gate[0] not in episodes}
    for item in moved:
        for gate in _gates_moved(before.state, state, item):
            met.pop((owner_of(state, item), gate), None)
    return met


def _gates_moved(before: State, after: State, item: str) -> Iterator[str]:
    """The gates of an item's episode that its visits meet at other times than before."""
    episode = after.episodes.get(owner_of(after, item))
    if episode is None:
        return
    for gate, (department, first) in episode.route.gates.items():
        by_episode = department in episode.route.episode_departments
        if by_episode == (item in after.episodes):
            old, new = (visit_of(state, item, department) for state in (before, after))
            if not same_hand_offs(old, new, first=first):
                yield gate


def frame_differs(board: Board, state: State) -> bool:
    """Whether a state has other episodes, elements or departments than a board was made of."""
    old = board.state
    if (
        line_departments(state) != board.frame.departments
        or planned_episodes(state) != board.frame.episodes
    ):
        return True
    return len(state.shows) != len(old.shows) or any(
        name not in state.shows or state.shows[name].elements != show.elements
        for name, show in old.shows.items()
    )


def _counted_otherwise(before: State, after: State, changed: Iterable[str]) -> set[str]:
    """Episodes whose own visits count other frames or drawings: those of scenes in the picture."""
    episodes: set[str] = set()
    for item in changed:
        old, new = before.scenes.get(item), after.scenes.get(item)
        if old is not None and new is not None:
            was, will = (old.frames, old.drawings), (new.frames, new.drawings)
            if was != will or old.omitted != new.omitted:
                episodes.add(new.episode)
    return episodes


def _prioritise(board: Board, before: State, changed: Iterable[str]) -> None:
    """Write the priorities of scenes whose episode has another than before."""
    frame = board.frame
    for name in changed:
        old, new = before.episodes.get(name), board.state.episodes.get(name)
        if old is not None and new is not None and old.priority != new.priority:
            for scene in new.scenes:
                place = frame.place_of.get(scene)
                if place is not None:
                    rows = slice(frame.first_row[place], frame.first_row[place + 1])
                    board.priority[rows] = priority_of(board.state, board.state.scenes[scene])


def _fill(board: Board, lending: Lending, item: str, old: Visits | None = None) -> None:
    """Write an item's rows if it is planned.

    Given the old visits of an item whose record is the same, those that differ alone. Raises
    PlanError, which names the item.
    """
    try:
        _write(board, lending, item, old)
    except Exception as fault:
        raise PlanError(item) from fault


def _write(board: Board, lending: Lending, item: str, old: Visits | None) -> None:
    state, frame = board.state, board.frame
    place = frame.place_of.get(item)
    record = item_of(state, item)
    if place is None or record is None:
        return
    visits = state.visits.get(item, _NONE)
    omitted = isinstance(record, Scene) and record.omitted
    lent = None  # where the scene is in the picture, all of its visits are needed
    if isinstance(record, Scene) and not in_picture(state, item):
        lent = lending.lent_visits(item)
    hold = record.hold if isinstance(record, Scene) else None
    held_on = 0 if hold is None else hold.by_on.toordinal()
    priority = priority_of(state, record)
    for row, (_, department) in enumerate(frame.blocks[place], int(frame.first_row[place])):
        if old is not None and old.get(department) is visits.get(department):
            continue
        standing = stand(state, record, department, visits)
        unneeded = lent is not None and department not in lent
        # of a delivered episode's scene, what was handed off is known as such
        never = unneeded and (omitted or standing.phase != OUT)
        board.phase[row] = OUT if unneeded else standing.phase
        board.work_e4[row] = standing.work_e4
        board.started_min[row] = standing.started_min
        board.ended_min[row] = -1 if never else standing.ended_min
        board.first_ended_min[row] = -1 if never else standing.first_ended_min
        board.must_fix[row] = standing.must_fix
        board.lent[row] = lent is not None and not unneeded
        if old is None:
            board.priority[row] = priority
            board.held_on[row] = held_on


_PHASES = {Phase.WAITING: WAITING, Phase.ON_DESK: ON_DESK, Phase.HANDED_OFF: OUT}


def stand(
    state: State, record: Item, department: str, visits: Mapping[str, Visit] | None
) -> BoardRow:
    """How one visit stands, apart from an omission."""
    visit = None if visits is None else visits.get(department)
    if visit is None:
        return BoardRow(WAITING, base_work_e4(state, record, department), 0, -1, -1, False)
    take: Take = visit.current
    handed_off = [one.ended_us for one in visit.takes if one.phase is Phase.HANDED_OFF]
    urgent = take.shares and any(
        state.retakes[code].urgency == "must-fix" for code, _ in take.shares
    )
    return BoardRow(
        phase=_PHASES[take.phase],
        work_e4=work_of_take_e4(state, record, department, take),
        started_min=max(0, take.started_us // US_PER_MIN),
        ended_min=handed_off[-1] // US_PER_MIN if handed_off else -1,
        first_ended_min=handed_off[0] // US_PER_MIN if handed_off else -1,
        must_fix=bool(urgent),
    )
