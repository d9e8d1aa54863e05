"""The plan of a state at a moment: board, crews and calendars in, every open visit's dates out."""

from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np

from service.planning.backward import latest
from service.planning.board import Board
from service.planning.dispatch import dispatch
from service.planning.line import ON_DESK, OUT, Int64s, Line, Plan
from service.production.state import STUDIO_CALENDAR, Crew, Node, State, Stoppage, visit_of
from service.production.work import calendar_of, crew_at, remaining_of, stopped_spans, terms_of
from service.vocabulary.calendar import (
    NEVER,
    Calendar,
    WorkingTime,
    end_of_day_min,
    local_date,
    start_of_day_min,
    workdays_between,
    working_time,
)
from service.vocabulary.instants import US_PER_MIN, instant
from service.vocabulary.quantities import ONE_E4

RULES_VERSION = "1"
"""Answers name it; it changes when the same facts would give another plan."""

YEARS_BACK, YEARS_AHEAD = 1, 4

# the dispatch key from its most significant part on: orders to put first, priority, due date,
# must-fix, total order; 10 + 11 + 18 + 1 + 23 = 63 bits
_FIRST_BITS, _PRIORITY_BITS, _DUE_BITS, _MUST_BITS, _ORDER_BITS = 10, 11, 18, 1, 23
_NO_DUE = (1 << _DUE_BITS) - 1
_PRIORITY_MOST = 1000


@dataclass(frozen=True, eq=False, slots=True)
class Schedule:
    """A board, its plan at `now_min`, and what follows from both by episode and by item."""

    board: Board
    line: Line
    plan: Plan
    now_min: int
    _cache: dict[str, Any] = field(default_factory=dict, repr=False)

    @property
    def state(self) -> State:
        """The state planned."""
        return self.board.state

    def finish_of(self) -> Int64s:
        """By row: planned finish; the last hand-off where the visit is done; -1 where omitted."""
        known: Int64s | None = self._cache.get("finish")
        if known is None:
            done = self.board.phase == OUT
            known = self._cache["finish"] = np.where(done, self.board.ended_min, self.plan.finish)
        return known

    def latest_of(self) -> Int64s:
        """By row: the latest finish that still meets the delivery gates behind it, else NEVER."""
        known: Int64s | None = self._cache.get("latest")
        if known is None:
            known = self._cache["latest"] = latest(self.line, self.plan, _due_rows(self))
        return known

    def row(self, node: Node) -> int | None:
        """The row of a visit, if it is planned."""
        return self.board.frame.row_of.get(node)


def schedule(board: Board, now_min: int) -> Schedule:
    """Plan a board at a moment (UTC minutes, floored)."""
    line = make_line(board, now_min)
    return Schedule(board, line, dispatch(line), now_min)


def make_line(board: Board, now_min: int) -> Line:
    """The scheduling problem that a board poses at a moment."""
    state, frame = board.state, board.frame
    windows = [_windows(state, name, now_min) for name in frame.departments]
    crews = [_segments(state, name) for name in frame.departments]
    return Line(
        department=frame.department,
        state=board.phase,
        work_e4=board.work_e4,
        started_min=board.started_min,
        release_min=_release(board, now_min),
        key=_keys(board),
        successor_from=frame.successor_from,
        successor=frame.successor,
        window_from=_offsets([len(time.starts) for time in windows]),
        window_start=_joined([time.starts for time in windows]),
        window_end=_joined([time.ends for time in windows]),
        window_before=_joined([time.cumulative for time in windows]),
        crew_from=_offsets([len(segments) for segments in crews]),
        crew_at_min=np.array([at for segments in crews for at, _ in segments], np.int64),
        crew_artists=np.array([c.artists for segments in crews for _, c in segments], np.int32),
        crew_rate_e4=np.array([c.rate_e4 for segments in crews for _, c in segments], np.int64),
        crew_day_min=np.array([c.day_min for segments in crews for _, c in segments], np.int64),
        now_min=now_min,
    )


def _offsets(counts: list[int]) -> Any:
    return np.cumsum([0, *counts]).astype(np.int32)


def _joined(arrays: list[Int64s]) -> Int64s:
    return np.concatenate(arrays) if arrays else np.zeros(0, np.int64)


def _windows(state: State, department: str, now_min: int) -> WorkingTime:
    calendar = calendar_of(state, department)
    if calendar is None:
        return WorkingTime.of(())
    stoppages = state.stoppages.get(department, ())
    # while one lasts, its end depends on now; else the same windows serve every moment
    asked_min = now_min if stoppages and stoppages[-1].resumed_us < 0 else 0
    year = instant(now_min * US_PER_MIN).year
    return _working_windows(calendar, stoppages, year, asked_min)


@lru_cache(maxsize=256)
def _working_windows(
    calendar: Calendar, stoppages: tuple[Stoppage, ...], year: int, now_min: int
) -> WorkingTime:
    around = working_time(calendar, date(year - YEARS_BACK, 1, 1), date(year + YEARS_AHEAD, 12, 31))
    return around.without(stopped_spans(stoppages, now_min))


def _segments(state: State, department: str) -> list[tuple[int, Crew]]:
    calendar = state.calendars.get(STUDIO_CALENDAR)
    if calendar is None:
        return []
    crews = state.crews.get(department, ())
    return [(start_of_day_min(calendar, crew.from_on), crew) for crew in crews]


def _release(board: Board, now_min: int) -> Int64s:
    """A held scene may go on after the day on which its answer is due; overdue, next minute."""
    release = np.zeros(len(board.phase), np.int64)
    calendar = board.state.calendars.get(STUDIO_CALENDAR)
    for row in np.flatnonzero(board.held_on):
        by_on = date.fromordinal(int(board.held_on[row]))
        end = end_of_day_min(calendar, by_on) if calendar else now_min
        release[row] = max(end, now_min + 1)
    return release


def _keys(board: Board) -> Int64s:
    """The dispatch rule as one integer by row, smallest first."""
    frame, state = board.frame, board.state
    dues = {name: _due_number(state, name) for name in frame.episodes}
    due_sets, due_set = frame.due_sets
    due = np.array(
        [min((dues[name] for name in names), default=_NO_DUE) for names in due_sets], np.int64
    )
    first = np.full(len(board.phase), (1 << _FIRST_BITS) - 1, np.int64)
    orders = sorted(((at, node) for node, at in state.put_first.items()), reverse=True)
    for place, (_, node) in enumerate(orders):
        row = frame.row_of.get(node)
        if row is not None:
            first[row] = min(place, (1 << _FIRST_BITS) - 2)
    key = first
    key = (key << _PRIORITY_BITS) | (_PRIORITY_MOST - board.priority)
    key = (key << _DUE_BITS) | due[due_set]
    key = (key << _MUST_BITS) | (1 - board.must_fix.astype(np.int64))
    return (key << _ORDER_BITS) | np.arange(len(key), dtype=np.int64)


def _due_number(state: State, episode: str) -> int:
    """An episode's delivery date as a day number."""
    gate = state.episodes[episode].gate("delivery")
    if gate is None:
        return _NO_DUE
    return max(0, min(_NO_DUE, gate.due_on.toordinal() - date(1970, 1, 1).toordinal()))


def delivery_rows(board: Board, episode: str, gate: str) -> tuple[Int64s, bool] | None:
    """Rows whose hand-offs meet a gate, and whether first takes suffice; None if none does."""
    record = board.state.episodes[episode]
    met_by = record.route.gates.get(gate)
    if met_by is None:
        return None
    department, first = met_by
    by_episode = department in record.route.episode_departments
    items = (episode,) if by_episode else record.scenes
    row_of = board.frame.row_of
    rows = [row_of[item, department] for item in items if (item, department) in row_of]
    return np.array(rows, np.int64), first


def _due_rows(schedule: Schedule) -> Int64s:
    """By row: the end of the day its episode's delivery is due, where it meets that gate."""
    due = np.full(len(schedule.board.phase), NEVER, np.int64)
    calendar = schedule.state.calendars.get(STUDIO_CALENDAR)
    for name in schedule.board.frame.episodes:
        gate = schedule.state.episodes[name].gate("delivery")
        rows = delivery_rows(schedule.board, name, "delivery")
        if gate is not None and rows is not None and calendar is not None:
            due[rows[0]] = end_of_day_min(calendar, gate.due_on)
    return due


def projected_min(schedule: Schedule, episode: str, gate: str) -> int | None:
    """The minute at which a gate is met: NEVER if it cannot be, None if nothing is to meet it."""
    found = delivery_rows(schedule.board, episode, gate)
    if found is None or not len(found[0]):
        return None
    rows, first = found
    finish = schedule.finish_of()[rows]
    if first:
        earliest = schedule.board.first_ended_min[rows]
        finish = np.where(earliest >= 0, earliest, finish)
    last = int(finish.max())
    return None if last < 0 else last


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
    worked = _windows(schedule.state, department, schedule.now_min)
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
    terms = terms_of(schedule.state, item, department)()
    remaining = remaining_of(schedule.state, department)
    return remaining(take, terms, schedule.now_min * US_PER_MIN)


def artist_days_e4(schedule: Schedule, department: str, work_e4: int) -> int | None:
    """Artist-days of an amount of work at the rate in force at the plan's moment."""
    crew = crew_at(schedule.state, department, schedule.now_min)
    if crew is None or crew.rate_e4 == 0:
        return None
    sign = -1 if work_e4 < 0 else 1
    return sign * -(-abs(work_e4) * ONE_E4 // crew.rate_e4)
