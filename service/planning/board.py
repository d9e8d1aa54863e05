"""From the state to arrays: which visits there are, how they follow each other, where each stands.

A `Frame` is what changes only when items are listed, joined or delivered; a `Board` is where every
visit stands. `advance` patches a board for the items whose records changed, found by identity: the
state's maps are persistent, so what did not change is the same object.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from service.planning.line import ON_DESK, OUT, WAITING, Int8s, Int32s, Int64s
from service.production.graph import predecessors
from service.production.state import (
    Element,
    Episode,
    Node,
    Scene,
    State,
    departments_of,
    item_of,
)
from service.production.visits import Phase, Take, take_work_e4
from service.production.work import base_work_e4, terms_for
from service.vocabulary.identifiers import natural_order
from service.vocabulary.instants import US_PER_MIN

Item = Scene | Element | Episode


@dataclass(frozen=True, eq=False, slots=True)
class Frame:
    """The visits that are planned, as rows: grouped by item, items in their total order.

    `first_row` has one entry more than there are items; arcs are in CSR form, from a visit to
    those that wait for it. `due_episodes` are, by item, the undelivered episodes it belongs to.
    """

    items: tuple[str, ...]
    nodes: tuple[Node, ...]
    row_of: dict[Node, int]
    first_row: Int32s
    departments: tuple[str, ...]
    department: Int32s
    successor_from: Int32s
    successor: Int32s
    episodes: tuple[str, ...]
    due_episodes: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, eq=False, slots=True)
class Board:
    """Where every visit of a frame stands at a position of the log.

    By row: `phase` (WAITING, ON_DESK, OUT), `work_e4` asked of the current take, `started_min`,
    `ended_min` of the last hand-off and `first_ended_min` of the first (-1 where there is none),
    `priority`, `must_fix` and `held_on` (day number of a hold's date, 0 where none holds it).
    """

    state: State
    frame: Frame
    records: list[tuple[Any, Any]]
    phase: Int8s
    work_e4: Int64s
    started_min: Int64s
    ended_min: Int64s
    first_ended_min: Int64s
    priority: Int64s
    must_fix: Int8s
    held_on: Int64s


_COLUMNS = (
    "phase", "work_e4", "started_min", "ended_min", "first_ended_min", "priority", "must_fix",
    "held_on",
)  # fmt: skip


class Standing(NamedTuple):
    """One row of a board."""

    phase: int
    work_e4: int
    started_min: int
    ended_min: int
    first_ended_min: int
    must_fix: bool


def planned_episodes(state: State) -> tuple[str, ...]:
    """Undelivered episodes in their total order."""
    open_ones = (name for name, episode in state.episodes.items() if episode.delivered_us < 0)
    return tuple(sorted(open_ones, key=lambda name: (natural_order(name), name)))


def _planned_items(state: State, episodes: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Items to plan, each with the undelivered episodes it belongs to."""
    found: dict[str, tuple[str, ...]] = {}
    for name in episodes:
        found[name] = (name,)
        found.update(dict.fromkeys(state.episodes[name].scenes, (name,)))
    undelivered = set(episodes)
    for show in state.shows.values():
        for element in show.elements:
            users = {state.scenes[scene].episode for scene in state.elements[element].scenes}
            if not users or users & undelivered:
                found[element] = tuple(sorted(users & undelivered))
    return found


def make_frame(state: State) -> Frame:
    """The frame of all visits of undelivered episodes and of the elements they use."""
    episodes = planned_episodes(state)
    belongs = _planned_items(state, episodes)
    items = tuple(sorted(belongs, key=lambda item: (natural_order(item), item)))
    nodes: list[Node] = []
    first_row = [0]
    for item in items:
        nodes += [(item, name) for name in departments_of(_known(state, item))]
        first_row.append(len(nodes))
    row_of = {node: row for row, node in enumerate(nodes)}
    departments = tuple(sorted(state.units))
    number = {name: place for place, name in enumerate(departments)}
    successor_from, successor = _arcs(state, nodes, row_of)
    return Frame(
        items=items,
        nodes=tuple(nodes),
        row_of=row_of,
        first_row=np.array(first_row, np.int32),
        departments=departments,
        department=np.array([number[name] for _, name in nodes], np.int32),
        successor_from=successor_from,
        successor=successor,
        episodes=episodes,
        due_episodes=tuple(belongs[item] for item in items),
    )


def _arcs(state: State, nodes: list[Node], row_of: dict[Node, int]) -> tuple[Int32s, Int32s]:
    befores: list[int] = []
    afters: list[int] = []
    for row, node in enumerate(nodes):
        for arc in predecessors(state, *node):
            before = row_of.get(arc.node)
            if before is not None:
                befores.append(before)
                afters.append(row)
    before_rows = np.array(befores, np.int32)
    after_rows = np.array(afters, np.int32)
    order = np.argsort(before_rows, kind="stable")
    counts = np.bincount(before_rows, minlength=len(nodes))
    successor_from = np.zeros(len(nodes) + 1, np.int32)
    np.cumsum(counts, out=successor_from[1:])
    return successor_from, after_rows[order]


def _known(state: State, item: str) -> Item:
    found = item_of(state, item)
    if found is None:
        raise LookupError(item)
    return found


def make_board(state: State) -> Board:
    """The board of a state, from nothing."""
    frame = make_frame(state)
    count = len(frame.nodes)
    columns: dict[str, Any] = {name: np.zeros(count, np.int64) for name in _COLUMNS}
    columns["phase"] = np.zeros(count, np.int8)
    columns["must_fix"] = np.zeros(count, np.int8)
    board = Board(state, frame, [], **columns)
    for place, item in enumerate(frame.items):
        board.records.append(_record(state, item))
        _fill(board, place)
    return board


def advance(board: Board, state: State) -> Board:
    """The board of another state: patched where only a few records differ, else made anew."""
    if state is board.state:
        return board
    if frame_differs(board, state):
        return make_board(state)
    records = [_record(state, item) for item in board.frame.items]
    changed = [
        place
        for place, (old, new) in enumerate(zip(board.records, records, strict=True))
        if old[0] is not new[0] or old[1] is not new[1]
    ]
    if any(_joins_differ(board.records[place][0], records[place][0]) for place in changed):
        return make_board(state)
    affected = _affected_otherwise(board, state, changed)
    columns: dict[str, Any] = {name: getattr(board, name).copy() for name in _COLUMNS}
    fresh = Board(state, board.frame, records, **columns)
    for place in affected:
        _fill(fresh, place)
    for place in changed:
        if place not in affected:
            _fill(fresh, place, board.records[place])
    return fresh


def _record(state: State, item: str) -> tuple[Any, Any]:
    found: Any = state.scenes.get(item)
    if found is None:
        found = item_of(state, item)
    return found, state.visits.get(item)


def frame_differs(board: Board, state: State) -> bool:
    """Whether a state has other episodes, elements or departments than a board was made of."""
    old = board.state
    if state.units != old.units or planned_episodes(state) != board.frame.episodes:
        return True
    return len(state.shows) != len(old.shows) or any(
        name not in state.shows or state.shows[name].elements != show.elements
        for name, show in old.shows.items()
    )


def _joins_differ(old: Item, new: Item) -> bool:
    """Whether an item's visits or arcs changed, or are not known to be the same."""
    if type(old) is not type(new):
        return True
    if isinstance(old, Episode) and isinstance(new, Episode):
        return old.scenes != new.scenes
    if isinstance(old, Element) and isinstance(new, Element):
        return old.scenes != new.scenes
    if isinstance(old, Scene) and isinstance(new, Scene):
        return (old.departments, old.elements, old.same_as) != (
            new.departments,
            new.elements,
            new.same_as,
        )
    return True


def _affected_otherwise(board: Board, state: State, changed: list[int]) -> set[int]:
    """Items whose rows depend on another record: an episode's priority or its scenes' frames."""
    frame = board.frame
    by_item = {item: place for place, item in enumerate(frame.items)}
    affected: set[int] = set()
    for place in changed:
        old, new = board.records[place][0], _record(state, frame.items[place])[0]
        if isinstance(new, Scene) and isinstance(old, Scene):
            # what an episode's own visits count: frames and drawings of scenes in the picture
            was, will = (old.frames, old.drawings), (new.frames, new.drawings)
            if was != will or old.omitted != new.omitted:
                affected.add(by_item[new.episode])
        elif isinstance(new, Episode) and old.priority != new.priority:
            affected.update(by_item[scene] for scene in new.scenes)
    return affected


def _fill(board: Board, place: int, old: tuple[Any, Any] = (None, None)) -> None:
    """Write an item's rows; where its record is the old one, those of changed visits alone."""
    state, frame = board.state, board.frame
    item = frame.items[place]
    record, visits = board.records[place]
    omitted = isinstance(record, Scene) and record.omitted
    priority = record.priority
    held_on = 0
    if isinstance(record, Scene):
        priority = priority or state.episodes[record.episode].priority
        held_on = record.hold.by_on.toordinal() if record.hold else 0
    known = (old[1] or {}) if old[0] is record and visits is not old[1] else None
    found = visits or {}
    for row in range(int(frame.first_row[place]), int(frame.first_row[place + 1])):
        department = frame.nodes[row][1]
        if known is not None and known.get(department) is found.get(department):
            continue
        standing = stand(state, item, record, department, visits)
        board.phase[row] = OUT if omitted else standing.phase
        board.work_e4[row] = standing.work_e4
        board.started_min[row] = standing.started_min
        board.ended_min[row] = -1 if omitted else standing.ended_min
        board.first_ended_min[row] = -1 if omitted else standing.first_ended_min
        board.must_fix[row] = standing.must_fix
        board.priority[row] = priority
        board.held_on[row] = held_on


_PHASES = {Phase.WAITING: WAITING, Phase.ON_DESK: ON_DESK, Phase.HANDED_OFF: OUT}


def stand(state: State, item: str, record: Item, department: str, visits: Any = None) -> Standing:
    """How one visit stands, apart from an omission."""
    visit = None if visits is None else visits.get(department)
    if visit is None:
        return Standing(WAITING, base_work_e4(state, record, department), 0, -1, -1, False)
    take: Take = visit.current
    terms = terms_for(state, record, department)
    handed_off = [t.ended_us for t in visit.takes if t.phase is Phase.HANDED_OFF]
    return Standing(
        phase=_PHASES[take.phase],
        work_e4=take_work_e4(take, terms),
        started_min=max(0, take.started_us // US_PER_MIN),
        ended_min=handed_off[-1] // US_PER_MIN if handed_off else -1,
        first_ended_min=handed_off[0] // US_PER_MIN if handed_off else -1,
        must_fix=any(state.retakes[code].urgency == "must-fix" for code, _ in take.shares),
    )
