"""What compiled loops read off a line and its plan.

When the plan next changes, what a start waited for, and what should have left a desk by now.
"""

import numpy as np

from service.planning.kernel.compiled import Int, compiled, index
from service.planning.kernel.line import (
    BOUND_ARTIST,
    BOUND_PREDECESSOR,
    ON_DESK,
    WAITING,
    BrokenLineError,
    Int8s,
    Int32s,
    Int64s,
    KernelArrays,
    Plan,
)
from service.planning.kernel.minutes import duration, end_of_minute, rated_segment, worked_before
from service.planning.kernel.soundness import same_length
from service.vocabulary.calendar import NEVER


def first_change(state: Int8s, plan: Plan) -> int:
    """The first minute at which what waits is to start, or the one before what is on a desk ends.

    NEVER if nothing is to. Raises BrokenLineError where states and plan are not of as many rows.
    """
    same_length("start", plan.start, len(state))
    same_length("finish", plan.finish, len(state))
    return int(_first_change(state, plan.start, plan.finish))


def trace_back(state: Int8s, plan: Plan, row: int) -> list[int]:
    """A row and what bound its start, and so on back to one that waited for no other.

    Raises BrokenLineError where states and plan are not of as many rows, or a row that bound
    another is none of theirs, or is bound by itself.
    """
    rows = len(state)
    same_length("finish", plan.finish, rows)
    same_length("bound", plan.bound, rows)
    same_length("bound_row", plan.bound_row, rows)
    if not 0 <= row < rows:
        raise BrokenLineError("finish", f"has no row {row}, only {rows} rows")
    chain = np.zeros(rows, np.int32)
    listed = int(_trace_back(state, plan.finish, plan.bound, plan.bound_row, row, chain))
    if listed < 0:
        last = int(chain[-1 - listed])
        raise BrokenLineError("bound_row", f"{plan.bound_row[last]} does not lead to a start", last)
    rows_back: list[int] = chain[:listed].tolist()
    return rows_back


@compiled
def _first_change(state: Int8s, start: Int64s, finish: Int64s) -> Int:
    found = NEVER
    for row in range(len(state)):
        if state[row] == WAITING and start[row] < found:
            found = start[row]
        elif state[row] == ON_DESK and finish[row] - 1 < found:
            found = finish[row] - 1
    return found


@compiled
def _trace_back(
    state: Int8s, finish: Int64s, bound: Int8s, bound_row: Int32s, row: Int, chain: Int32s
) -> Int:
    """Fill in the chain; how many are in it, or -1 - the place of one that leads to no row."""
    for place in range(len(state)):
        chain[place] = row
        if state[row] == ON_DESK or not (
            bound[row] == BOUND_PREDECESSOR or bound[row] == BOUND_ARTIST
        ):
            return place + 1
        before = np.int64(bound_row[row])
        if before < 0 or before >= len(state):
            return -1 - place
        row = index(before)
        if finish[row] < 0:
            return place + 1
    return -len(state)


@compiled
def since_when_overdue(p: KernelArrays, now: Int, since: Int64s) -> None:
    """Say since when what is on a desk has had all its working minutes; the rest stays as it is."""
    for row in range(len(p.state)):
        if p.state[row] != ON_DESK:
            continue
        d, started = index(p.department[row]), p.started_min[row]
        segment = rated_segment(p, d, started)
        if segment < 0:
            continue
        target = worked_before(p, d, started) + duration(p, row, segment)
        end = end_of_minute(p, d, np.int64(p.window_from[d]), target)
        if end <= now:
            since[row] = end
