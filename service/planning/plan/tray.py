"""A department's work in working order, and how much of it is open."""

from datetime import date
from typing import NamedTuple

import numpy as np

from service.planning.board.board import Board
from service.planning.kernel.line import ON_DESK, WAITING, Int8s, Int64s
from service.planning.plan.schedule import Schedule, load_e4
from service.planning.plan.standing import STANDS, Standings, Stands
from service.production.state import State

SECTIONS = (Stands.ON_DESK, Stands.IN_TRAY, Stands.HELD, Stands.AHEAD)
"""What a department's work is listed by: the states of open visits."""


def section_rows(schedule: Schedule, codes: Int8s, department: str, section: Stands) -> list[int]:
    """Rows of one section of a department's work, in working order.

    On desks by expected finish; in the tray by the dispatch rule; held by the day the answer is
    due; ahead by projected start. Ties go by the dispatch rule, which is total.
    """
    frame = schedule.board.frame
    if department not in frame.departments:
        return []
    number = frame.departments.index(department)
    code = STANDS.index(section)
    rows = np.flatnonzero((frame.department == number) & (codes == code))
    key = schedule.line.key[rows]
    first: Int64s = {
        Stands.ON_DESK: schedule.plan.finish,
        Stands.IN_TRAY: schedule.line.key,
        Stands.HELD: schedule.board.held_on,
        Stands.AHEAD: schedule.plan.start,
    }[section][rows]
    ordered: list[int] = rows[np.lexsort((key, first))].tolist()
    return ordered


def open_work_e4(schedule: Schedule) -> dict[str, int]:
    """By department, the work still to be done at the plan's moment, in its unit."""
    board = schedule.board
    frame = board.frame
    waiting = board.phase == WAITING
    totals = [0] * len(frame.departments)
    for number in range(len(totals)):
        totals[number] = int(board.work_e4[waiting & (frame.department == number)].sum())
    for row in np.flatnonzero(board.phase == ON_DESK).tolist():
        totals[frame.department[row]] += load_e4(schedule, row)
    return dict(zip(frame.departments, totals, strict=True))


class Overdue(NamedTuple):
    """How many of a department's visits are overdue, and since when the longest one of them is.

    On desks they are past their time; held, the day by which an answer was due is over: of scenes
    of which a visit waits for that answer alone, or lies on a desk.
    """

    on_desk: int
    on_desk_since_min: int | None
    held: int
    held_since_min: int | None

    @staticmethod
    def of(on_desk: list[int], held: list[int]) -> "Overdue":
        """From the minutes since when they are."""
        return Overdue(len(on_desk), min(on_desk, default=None), len(held), min(held, default=None))


NOTHING_OVERDUE = Overdue.of([], [])


def overdue_by_department(standings: Standings) -> dict[str, Overdue]:
    """What is overdue in each department where something is."""
    board, on_desk_since = standings.schedule.board, standings.schedule.overdue_since()
    held = standings.codes == STANDS.index(Stands.HELD)
    held |= (board.phase == ON_DESK) & (board.held_on > 0)
    since: dict[str, tuple[list[int], list[int]]] = {}
    for row in np.flatnonzero(held | (on_desk_since >= 0)).tolist():
        on_desk, answers = since.setdefault(board.frame.nodes[row][1], ([], []))
        if on_desk_since[row] >= 0:
            on_desk.append(int(on_desk_since[row]))
        answer_min = standings.answer_overdue_since_min(row) if held[row] else None
        if answer_min is not None:
            answers.append(answer_min)
    return {name: Overdue.of(*minutes) for name, minutes in since.items() if any(minutes)}


def item_place(board: Board, row: int) -> int:
    """The place among the frame's items of the item that a row belongs to."""
    return int(np.searchsorted(board.frame.first_row, row, side="right")) - 1


def due_on(state: State, episodes: tuple[str, ...]) -> date | None:
    """The earliest delivery date of some episodes; None where none is set."""
    gates = (state.episodes[name].gate("delivery") for name in episodes)
    return min((gate.due_on for gate in gates if gate is not None), default=None)
