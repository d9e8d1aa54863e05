"""The scheduling problem that a board poses at a moment: hours, crews, holds, the dispatch rule."""

from datetime import date
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from service.planning.board.board import Board
from service.planning.kernel.line import (
    BrokenLineError,
    Crews,
    Hours,
    Int32s,
    Int64s,
    Line,
    Ranking,
)
from service.production.route import APPROVAL
from service.production.state import STUDIO_CALENDAR, Crew, State, Stoppage
from service.production.work import calendar_of, stopped_spans
from service.vocabulary.calendar import (
    Calendar,
    WorkingTime,
    end_of_day_min,
    start_of_day_min,
    working_time,
)
from service.vocabulary.instants import US_PER_MIN, instant
from service.vocabulary.quantities import ONE_E4

YEARS_BACK, YEARS_AHEAD = 1, 4

# the dispatch key from its most significant part on: orders to put first, priority, due date,
# must-fix, total order; 10 + 11 + 18 + 1 + 23 = 63 bits
_FIRST_BITS, _PRIORITY_BITS, _DUE_BITS, _MUST_BITS, _ORDER_BITS = 10, 11, 18, 1, 23
_NO_DUE = (1 << _DUE_BITS) - 1
_DAY_MIN = 24 * 60
_ANSWERING = (Crew(date(1970, 1, 1), 2**31 - 1, ONE_E4, _DAY_MIN),)
"""Whoever answers: any number of designs at once, each in the days that it takes."""
_PRIORITY_MOST = 1000


def make_line(board: Board, now_min: int, near: tuple[Board, Line] | None = None) -> Line:
    """The scheduling problem that a board poses at a moment.

    `near` is another board of the same frame and its line; what goes first is mostly the same.
    """
    state, frame = board.state, board.frame
    if near is not None and _ranked_alike(board, near[0]):
        ranking = near[1].ranking
    else:
        ranking = Ranking(_keys(board))
    return Line(
        department=frame.department,
        state=board.phase,
        work_e4=board.work_e4,
        started_min=board.started_min,
        release_min=_release(board, now_min),
        ranking=ranking,
        successor_from=frame.successor_from,
        successor=frame.successor,
        hours=_hours_by(state, frame.departments, now_min),
        crews=_crews_by(state, frame.departments),
        now_min=now_min,
    )


def hours_of(state: State, department: str, now_min: int) -> WorkingTime:
    """A department's working time around a moment, stoppages left out."""
    stoppages = state.stoppages.get(department, ())
    return _working_time(*_working_time_of(_calendar(state, department), stoppages, now_min))


def _calendar(state: State, department: str) -> Calendar | None:
    """A department's calendar; an answer comes on the studio's working days, at any hour."""
    if department != APPROVAL:
        return calendar_of(state, department)
    studio = state.calendars.get(STUDIO_CALENDAR)
    return None if studio is None else _whole_days(studio)


@lru_cache(maxsize=16)
def _whole_days(calendar: Calendar) -> Calendar:
    """Open all day on every working day: so many days later is the same hour of that day."""
    versions = [
        version._replace(
            shifts=tuple(
                shift._replace(opens_min=0, closes_min=_DAY_MIN)
                for shift in version.shifts
                if shift.closes_min > shift.opens_min
            )
        )
        for version in calendar.versions
    ]
    return calendar._replace(versions=tuple(versions))


def _working_time_of(
    calendar: Calendar | None, stoppages: tuple[Stoppage, ...], now_min: int
) -> tuple[Calendar | None, tuple[Stoppage, ...], int, int]:
    # while a stoppage lasts, its end depends on now; else the same windows serve every moment
    lasts = bool(stoppages) and stoppages[-1].lasts
    return calendar, stoppages, instant(now_min * US_PER_MIN).year, now_min if lasts else 0


def _hours_by(state: State, departments: tuple[str, ...], now_min: int) -> Hours:
    parts = [
        _working_time_of(_calendar(state, name), state.stoppages.get(name, ()), now_min)
        for name in departments
    ]
    return _hours(tuple(parts))


# the same for every plan until a calendar changes or a department stops or resumes
@lru_cache(maxsize=16)
def _hours(
    parts: tuple[tuple[Calendar | None, tuple[Stoppage, ...], int, int], ...],
) -> Hours:
    times = [_working_time(*one) for one in parts]
    return Hours(
        window_from=_offsets([len(time.starts) for time in times]),
        window_start=_joined([time.starts for time in times]),
        window_end=_joined([time.ends for time in times]),
        window_before=_joined([time.cumulative for time in times]),
    )


@lru_cache(maxsize=256)
def _working_time(
    calendar: Calendar | None, stoppages: tuple[Stoppage, ...], year: int, now_min: int
) -> WorkingTime:
    if calendar is None:
        return WorkingTime.of(())
    around = working_time(calendar, date(year - YEARS_BACK, 1, 1), date(year + YEARS_AHEAD, 12, 31))
    return around.without(stopped_spans(stoppages, now_min, calendar))


def _crews_by(state: State, departments: tuple[str, ...]) -> Crews:
    calendar = state.calendars.get(STUDIO_CALENDAR)
    crews = tuple([_crews_of(state, name) if calendar else () for name in departments])
    return _crews(calendar, crews)


def _crews_of(state: State, department: str) -> tuple[Crew, ...]:
    return _ANSWERING if department == APPROVAL else state.crews.get(department, ())


@lru_cache(maxsize=64)
def _crews(calendar: Calendar | None, crews: tuple[tuple[Crew, ...], ...]) -> Crews:
    segments = [crew for listed in crews for crew in listed]
    begins = [start_of_day_min(calendar, crew.from_on) for crew in segments if calendar]
    return Crews(
        crew_from=_offsets([len(listed) for listed in crews]),
        crew_at_min=_kept(begins, np.int64),
        crew_artists=_kept([crew.artists for crew in segments], np.int32),
        crew_rate_e4=_kept([crew.rate_e4 for crew in segments], np.int64),
        crew_day_min=_kept([crew.day_min for crew in segments], np.int64),
    )


def _offsets(counts: list[int]) -> Int32s:
    return _kept(np.cumsum([0, *counts]), np.int32)


def _joined(arrays: list[Int64s]) -> Int64s:
    return _kept(np.concatenate([np.zeros(0, np.int64), *arrays]), np.int64)


def _kept(values: Any, kind: type[Any]) -> npt.NDArray[Any]:
    """An array that many lines share, so nobody may write into it."""
    array = np.array(values, kind)
    array.setflags(write=False)
    return array


def _release(board: Board, now_min: int) -> Int64s:
    """A held scene may go on after the day on which its answer is due; overdue, next minute."""
    release = np.zeros(len(board.phase), np.int64)
    calendar = board.state.calendars.get(STUDIO_CALENDAR)
    held = np.flatnonzero(board.held_on)
    # many rows wait for few dates
    days, day_of_row = np.unique(board.held_on[held], return_inverse=True)
    ends = [
        end_of_day_min(calendar, date.fromordinal(day)) if calendar else now_min
        for day in days.tolist()
    ]
    release[held] = np.maximum(np.array(ends, np.int64), now_min + 1)[day_of_row]
    return release


def _ranked_alike(board: Board, other: Board) -> bool:
    """Whether everything that keys are made of is the same."""
    frame, state, earlier = board.frame, board.state, other.state
    return (
        frame is other.frame
        and (state.put_first is earlier.put_first or state.put_first == earlier.put_first)
        and all(_due_alike(state, earlier, name) for name in frame.episodes)
        and np.array_equal(board.must_fix, other.must_fix)
        and (board.priority is other.priority or np.array_equal(board.priority, other.priority))
    )


def _due_alike(state: State, earlier: State, episode: str) -> bool:
    """Whether an episode is due on the same date; the same record mostly says so at once."""
    if state.episodes[episode] is earlier.episodes.get(episode):
        return True
    return episode in earlier.episodes and _due_number(state, episode) == _due_number(
        earlier, episode
    )


def _keys(board: Board) -> Int64s:
    """The dispatch rule as one integer by row, smallest first.

    Raises BrokenLineError where the parts of it would not fit side by side.
    """
    frame, state = board.frame, board.state
    if len(board.phase) > 1 << _ORDER_BITS:
        raise BrokenLineError("ranking", f"{len(board.phase)} rows, more than {1 << _ORDER_BITS}")
    for wrong in np.flatnonzero(np.abs(board.priority) > _PRIORITY_MOST).tolist()[:1]:
        reason = f"{board.priority[wrong]} is not between -{_PRIORITY_MOST} and {_PRIORITY_MOST}"
        raise BrokenLineError("priority", reason, wrong)
    dues = {name: _due_number(state, name) for name in frame.episodes}
    due = np.array(
        # a set may be there that no item belongs to any more
        [min((dues.get(name, _NO_DUE) for name in names), default=_NO_DUE)
         for names in frame.due_sets],
        np.int64,
    )  # fmt: skip
    first = np.full(len(board.phase), (1 << _FIRST_BITS) - 1, np.int64)
    orders = sorted(((at, node) for node, at in state.put_first.items()), reverse=True)
    for place, (_, node) in enumerate(orders):
        row = frame.row_of.get(node)
        if row is not None:
            first[row] = min(place, (1 << _FIRST_BITS) - 2)
    key = (first << _PRIORITY_BITS) | (_PRIORITY_MOST - board.priority)
    key = (key << _DUE_BITS) | due[frame.due_set_by_row]
    key = (key << _MUST_BITS) | (1 - board.must_fix.astype(np.int64))
    return (key << _ORDER_BITS) | np.arange(len(key), dtype=np.int64)


def _due_number(state: State, episode: str) -> int:
    """An episode's delivery date as a day number."""
    gate = state.episodes[episode].gate("delivery")
    if gate is None:
        return _NO_DUE
    return max(0, min(_NO_DUE, gate.due_on.toordinal() - date(1970, 1, 1).toordinal()))
