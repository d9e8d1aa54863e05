"""What differs between two schedules: visits, rows, and the items that finish at another minute."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import repeat
from operator import and_
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from service.planning.board.board import Board
from service.planning.board.frame import order_of
from service.planning.board.splice import moved_rows
from service.planning.kernel.line import Int64s
from service.planning.plan.schedule import Bools, Schedule, date_of, workdays
from service.production.state import Scene, State, departments_of, item_of, visit_of
from service.production.takes import Phase
from service.production.visits import UNVISITED, Visit
from service.vocabulary.calendar import NEVER

Picked = Int64s | slice
_NO_VISITS: dict[str, Visit] = {}
_ALL_ROWS = slice(None)


def changed_visits(before: Schedule, after: Schedule) -> Iterator[tuple[str, str, Visit, Visit]]:
    """Visits that something was recorded of in between, in their total order."""
    state = after.state
    for item in sorted(after.board.changed_visits(before.board), key=order_of):
        record, visits = item_of(state, item), state.visits.get(item)
        if record is None or visits is None:
            continue
        visits_before = before.state.visits.get(item, _NO_VISITS)
        for department in sorted(visits, key=record.route.rank.__getitem__):
            was, visit = visits_before.get(department, UNVISITED), visits[department]
            if was is not visit:
                yield item, department, was, visit


def changed_rows(
    before: Schedule, after: Schedule
) -> Iterable[tuple[Schedule, int, Iterable[int]]]:
    """Rows to take away and rows to add, so that what did not change is not counted at all."""
    old, new = before.board, after.board
    if old.frame is new.frame:
        differ = np.flatnonzero(_standing_differs(old, new)).tolist()
        return (before, -1, differ), (after, 1, differ)
    moved = moved_rows(old.frame, new.frame)
    stays = np.flatnonzero(moved >= 0)
    rows = moved[stays]
    differs = _standing_differs(old, new, stays, rows)
    alone = np.ones(len(new.phase), np.bool_)
    alone[rows] = False
    return (
        (before, -1, (*np.flatnonzero(moved < 0).tolist(), *stays[differs].tolist())),
        (after, 1, (*np.flatnonzero(alone).tolist(), *rows[differs].tolist())),
    )


def _standing_differs(
    old: Board, new: Board, rows: Picked = _ALL_ROWS, others: Picked = _ALL_ROWS
) -> npt.NDArray[np.bool_]:
    """Whether some rows of one board stand otherwise than those of another."""
    differs: npt.NDArray[np.bool_] = (
        (old.phase[rows] != new.phase[others])
        | (old.work_e4[rows] != new.work_e4[others])
        | (old.started_min[rows] != new.started_min[others])
    )
    return differs


class Stood(NamedTuple):
    """How some items stand in a schedule: when each is done, and whether some visit is still open.

    The minute is NEVER where one cannot be done, -1 where it is not planned or is omitted.
    """

    finish_min: list[int]
    is_open: list[bool]


class MovedItems(NamedTuple):
    """Items that are done at another minute, in their total order, in two schedules."""

    items: list[str]
    before: Stood
    after: Stood


def moved_items(before: Schedule, after: Schedule) -> MovedItems:
    """Items that are done at another minute in one schedule than in another."""
    old, new = before.board.frame, after.board.frame
    items: Sequence[str] = new.items
    if old is new:
        was, is_open = before.item_finishes(), before.open_items()
        will, stays_open = after.item_finishes(), after.open_items()
    else:
        items = sorted({*old.items, *new.items}, key=order_of)
        was, is_open = _as_listed(before, items)
        will, stays_open = _as_listed(after, items)
    moved = np.flatnonzero(was != will)
    return MovedItems(
        [items[place] for place in moved.tolist()],
        Stood(was[moved].tolist(), is_open[moved].tolist()),
        Stood(will[moved].tolist(), stays_open[moved].tolist()),
    )


def _as_listed(schedule: Schedule, items: Sequence[str]) -> tuple[Int64s, Bools]:
    """By item, when it is done, -1 where it is not planned, and whether it is open."""
    place_of = schedule.board.frame.place_of
    places = np.fromiter(map(place_of.get, items, repeat(-1)), np.int64)
    finishes = np.append(schedule.item_finishes(), -1)[places]
    is_open = np.append(schedule.open_items(), False)[places]
    for place in np.flatnonzero(places < 0).tolist():
        is_open[place] = _is_open(schedule.state, items[place])
    return finishes, is_open


def _is_open(state: State, item: str) -> bool:
    """Whether an item is open that is not planned: its episodes are delivered, or there is none."""
    record = item_of(state, item)
    if record is None or (isinstance(record, Scene) and record.omitted):
        return False
    visits = (visit_of(state, item, department) for department in departments_of(record))
    return any(visit.current.phase is not Phase.HANDED_OFF for visit in visits)


def slips(before: Schedule, after: Schedule, moved: MovedItems) -> list[int | None]:
    """Signed working days by which open items move; None where one has no date.

    None too where an item was done, or is done now: from when it was done, days may have passed
    in which nothing was owed.
    """
    both_open = map(and_, moved.before.is_open, moved.after.is_open)
    finishes = zip(moved.before.finish_min, moved.after.finish_min, both_open, strict=True)
    # what the plan before has counted serves every plan that is compared with it
    until = before.workdays_until()
    if until.calendar is None or until.calendar is not after.workdays_until().calendar:
        return [
            workdays(after, date_of(before, one), date_of(after, other)) if is_open else None
            for one, other, is_open in finishes
        ]
    return [
        until[other] - until[one] if is_open and 0 <= one < NEVER and 0 <= other < NEVER else None
        for one, other, is_open in finishes
    ]
