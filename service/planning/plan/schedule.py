"""The plan of a state at a moment: board, crews and calendars in, every open visit's dates out."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from datetime import date
from typing import Any, NamedTuple, TypeVar

import numpy as np
import numpy.typing as npt

from service.planning.board.board import Board, without_rows
from service.planning.board.faults import planning
from service.planning.board.posing import hours_of, make_line
from service.planning.kernel.backward import latest
from service.planning.kernel.dispatch import dispatch
from service.planning.kernel.line import ON_DESK, OUT, Int64s, Line, Plan, empty_line, empty_plan
from service.planning.plan.met import meeting_of, met_at
from service.planning.plan.overdue import overdue_since
from service.production.state import STUDIO_CALENDAR, Node, State, visit_of
from service.production.work import (
    calendar_of,
    crew_at,
    remaining_of,
    supposed_end_min,
    terms_of,
)
from service.vocabulary.calendar import (
    NEVER,
    end_of_day_min,
    local_date,
    workday_counter,
    workdays_between,
)
from service.vocabulary.instants import US_PER_MIN
from service.vocabulary.quantities import ONE_E4

RULES_VERSION = "4"
"""Answers name it; it changes when the same facts would give another plan."""

Bools = npt.NDArray[np.bool_]
Made = TypeVar("Made")


class WorkdaysUntil(dict[int, int]):
    """By minute of a finish, the studio's working days up to its date; 0 without a calendar.

    Only differences mean anything: those are `workdays_between`.
    """

    def __init__(self, state: State) -> None:
        super().__init__()
        self.calendar = state.calendars.get(STUDIO_CALENDAR)
        self._count = None if self.calendar is None else workday_counter(self.calendar)

    def __missing__(self, at_min: int) -> int:
        if self.calendar is None or self._count is None:
            return 0
        # midnight belongs to the day ending
        found = self[at_min] = self._count(local_date(self.calendar, at_min - 1))
        return found


@dataclass(frozen=True, eq=False, slots=True)
class Schedule:
    """A board, its plan at `now_min`, and what follows from both by episode and by item."""

    board: Board
    line: Line
    plan: Plan
    now_min: int
    _kept: dict[Hashable, Any] = field(default_factory=dict, repr=False)

    @property
    def state(self) -> State:
        """The state planned."""
        return self.board.state

    def kept(self, key: Hashable, make: Callable[[], Made]) -> Made:
        """What follows from this plan, made when it is first asked for.

        Raises PlanError where it cannot be made.
        """
        found: Made | None = self._kept.get(key)
        if found is None:
            with planning(self.board.item_at):
                found = self._kept[key] = make()
        return found

    def completed(self) -> "Schedule":
        """This plan with all that answers tell of its rows made.

        Raises PlanError where that is not possible.
        """
        self.latest_of()
        self.overdue_since()
        return self

    def finish_of(self) -> Int64s:
        """By row: planned finish; the last hand-off where the visit is done; -1 where omitted."""
        board = self.board
        return self.kept(
            "finish", lambda: np.where(board.phase == OUT, board.ended_min, self.plan.finish)
        )

    def latest_of(self) -> Int64s:
        """By row: the latest finish that still meets the delivery gates behind it, else NEVER."""
        return self.kept("latest", lambda: latest(self.line, self.plan, _due_rows(self)))

    def overdue_since(self) -> Int64s:
        """By row on a desk, since when it is past its time; -1 where it is not."""
        return self.kept("overdue", lambda: overdue_since(self.line))

    def last_of(self, *, first: bool) -> list[int]:
        """By group of the frame, when the last of its rows is out; `first`: for the first time."""
        return self.kept(("last", first), lambda: self._last_of(first=first))

    def _last_of(self, *, first: bool) -> list[int]:
        finish, earliest = self.finish_of(), self.board.first_ended_min
        if first:
            finish = np.where(earliest >= 0, earliest, finish)
        # a scene out of the picture holds no gate up, though others may need its work
        finish = np.where(self.board.lent, -1, finish)
        return self.board.frame.groups.greatest(finish)

    def item_finishes(self) -> Int64s:
        """By item of the frame, the minute at which its last visit is handed off.

        NEVER where one is not, -1 where the item has no visit or is omitted.
        """
        return self.kept("items", self._item_finishes)

    def _item_finishes(self) -> Int64s:
        frame = self.board.frame
        finishes = np.full(len(frame.items), -1, np.int64)
        filled = np.flatnonzero(np.diff(frame.first_row))
        if len(filled):
            starts = frame.first_row[:-1][filled]
            finishes[filled] = np.maximum.reduceat(self.finish_of(), starts)
        return finishes

    def open_items(self) -> Bools:
        """By item of the frame, whether some visit of it is not handed off; not where omitted."""
        return self.kept("open items", self._open_items)

    def _open_items(self) -> Bools:
        frame, still_open = self.board.frame, self.board.phase != OUT
        found = np.zeros(len(frame.items), np.bool_)
        filled = np.flatnonzero(np.diff(frame.first_row))
        if len(filled):
            starts = frame.first_row[:-1][filled]
            found[filled] = np.logical_or.reduceat(still_open, starts)
        return found

    def workdays_until(self) -> "WorkdaysUntil":
        """The studio's working days until a finish, for many of them."""
        return self.kept("workdays", lambda: WorkdaysUntil(self.state))

    def row(self, node: Node) -> int | None:
        """The row of a visit, if it is planned."""
        return self.board.frame.row_of.get(node)


def schedule(board: Board, now_min: int, near: Schedule | None = None) -> Schedule:
    """Plan a board at a moment (UTC minutes, floored); `near` is a plan of much the same board.

    Raises PlanError where none can be made.
    """
    with planning(board.item_at):
        line = make_line(board, now_min, None if near is None else (near.board, near.line))
        return Schedule(board, line, dispatch(line), now_min)


def unplanned(state: State, now_min: int) -> Schedule:
    """A state of which no plan can be made, at a moment: what is known, and nothing projected."""
    return Schedule(without_rows(state), empty_line(now_min), empty_plan(), now_min)


def delivery_rows(board: Board, episode: str) -> Int64s:
    """The rows whose hand-offs are to meet an episode's delivery gate, in order.

    A scene out of the picture holds no gate up, though others may need its work; nor does what was
    handed off before, where first takes suffice.
    """
    met = met_at(board, episode, "delivery")
    if met is None:
        return np.zeros(0, np.int64)
    of_gate = board.frame.groups.rows_at(met.group)
    rows: Int64s = of_gate[board.lent[of_gate] == 0]
    return rows[board.first_ended_min[rows] < 0] if met.first else rows


def _due_rows(schedule: Schedule) -> Int64s:
    """By row: the end of the day its episode's delivery is due, where it meets that gate."""
    due = np.full(len(schedule.board.phase), NEVER, np.int64)
    calendar = schedule.state.calendars.get(STUDIO_CALENDAR)
    for name in schedule.board.frame.episodes:
        gate = schedule.state.episodes[name].gate("delivery")
        if gate is not None and calendar is not None:
            due[delivery_rows(schedule.board, name)] = end_of_day_min(calendar, gate.due_on)
    return due


def projected_min(schedule: Schedule, episode: str, gate: str) -> int | None:
    """The minute at which an undelivered episode's gate is met, or since when it stands met.

    NEVER if it cannot be met, None if nothing is there to meet it.
    """
    met = met_at(schedule.board, episode, gate)
    if met is None:
        return None
    last = schedule.last_of(first=met.first)[met.group]
    if last < 0:
        return None
    if met.of_scenes:
        # the last of several may have been an omission
        meeting = meeting_of(schedule.board, episode, gate)
        if meeting is not None and meeting.stands_us >= 0:
            return meeting.stands_us // US_PER_MIN
    return last


def delivery_min(schedule: Schedule, episode: str) -> int | None:
    """The minute at which an episode was delivered or will be; None where that cannot be said."""
    record = schedule.state.episodes.get(episode)
    if record is None:
        return None
    if record.delivered:
        return record.delivered_us // US_PER_MIN
    at_min = projected_min(schedule, episode, "delivery")
    return None if at_min is None or at_min >= NEVER else at_min


def date_of(schedule: Schedule, at_min: int | None) -> date | None:
    """The studio's date of a finish; None where it has none. Midnight belongs to the day ending."""
    calendar = schedule.state.calendars.get(STUDIO_CALENDAR)
    if calendar is None or at_min is None or at_min >= NEVER or at_min < 0:
        return None
    return local_date(calendar, at_min - 1)


def workdays(schedule: Schedule, from_on: date | None, to_on: date | None) -> int | None:
    """Signed count of the studio's working days in (from, to]; None where a date is missing."""
    calendar = schedule.state.calendars.get(STUDIO_CALENDAR)
    if calendar is None or from_on is None or to_on is None:
        return None
    return workdays_between(calendar, from_on, to_on)


def float_workdays(schedule: Schedule, row: int) -> int | None:
    """Working days a visit can slip before a delivery gate behind it is missed.

    None where it is done, cannot be planned, or no gate stands behind it.
    """
    finish = int(schedule.plan.finish[row])
    late = int(schedule.latest_of()[row])
    if finish < 0 or finish >= NEVER or late >= NEVER:
        return None
    # what may end when a shift opens may as well end when the one before closes
    department = schedule.board.frame.nodes[row][1]
    worked = hours_of(schedule.state, department, schedule.now_min)
    late = worked.subtract(late, 1) + 1
    return workdays(schedule, date_of(schedule, finish), date_of(schedule, late))


def load_e4(schedule: Schedule, row: int) -> int:
    """Work still to be done on a visit at the plan's moment, in ten-thousandths of its unit."""
    board = schedule.board
    if board.phase[row] == OUT:
        return 0
    work = int(board.work_e4[row])
    if board.phase[row] != ON_DESK:
        return work
    item, department = board.frame.nodes[row]
    take = visit_of(schedule.state, item, department).current
    terms = terms_of(schedule.state, item, department)(None)
    remaining = remaining_of(schedule.state, department)
    return remaining(take, terms, schedule.now_min * US_PER_MIN)


class Supposition(NamedTuple):
    """A stoppage that lasts, and the minute at which a plan takes it to end.

    `overdue` says that it was expected to end by now.

    `expected_end_us` is -1 where nobody knows, `end_min` None where no calendar says which day it
    is, so that nothing is planned at all.
    """

    department: str
    stopped_us: int
    expected_end_us: int
    end_min: int | None
    overdue: bool = False


def suppositions(state: State, now_min: int) -> dict[str, Supposition]:
    """What plans of a state at a moment suppose of the stoppages that last, by department."""
    found = {}
    for department, stoppages in sorted(state.stoppages.items()):
        last, calendar = stoppages[-1], calendar_of(state, department)
        if last.lasts:
            end_min = None if calendar is None else supposed_end_min(last, now_min, calendar)
            overdue = 0 <= last.expected_end_us // US_PER_MIN <= now_min
            found[department] = Supposition(
                department, last.stopped_us, last.expected_end_us, end_min, overdue
            )
    return found


def artist_days_e4(schedule: Schedule, department: str, work_e4: int) -> int | None:
    """Artist-days of an amount of work at the rate in force at the plan's moment."""
    crew = crew_at(schedule.state, department, schedule.now_min)
    if crew is None or crew.rate_e4 == 0:
        return None
    sign = -1 if work_e4 < 0 else 1
    return sign * -(-abs(work_e4) * ONE_E4 // crew.rate_e4)
