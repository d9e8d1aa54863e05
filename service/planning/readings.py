"""What compiled loops read off a line and its plan.

When the plan next changes, what a start waited for, and what should have left a desk by now.
"""

import numpy as np

from service.planning.compiled import Int, compiled, index
from service.planning.line import (
    BOUND_ARTIST,
    BOUND_PREDECESSOR,
    ON_DESK,
    WAITING,
    Int8s,
    Int32s,
    Int64s,
    Problem,
)
from service.planning.minutes import duration, end_of_minute, rated_segment, worked_before
from service.vocabulary.calendar import NEVER


@compiled
def first_change(phase: Int8s, start: Int64s, finish: Int64s) -> Int:
    """The first minute at which what waits is to start, or the one before what is on a desk ends.

    NEVER if nothing is to.
    """
    found = NEVER
    for row in range(len(phase)):
        if phase[row] == WAITING and start[row] < found:
            found = start[row]
        elif phase[row] == ON_DESK and finish[row] - 1 < found:
            found = finish[row] - 1
    return found


@compiled
def trace_back(
    phase: Int8s,
    finish: Int64s,
    bound: Int8s,
    bound_row: Int32s,
    row: Int,
    chain: Int32s,
    seen: Int8s,
) -> Int:
    """List a row and what bound its start, and so on back, in `chain`; how many they are.

    `seen` is 0 before. A circle of visits that wait for each other has no first one.
    """
    listed = 0
    while seen[row] == 0:
        seen[row] = 1
        chain[listed] = row
        listed += 1
        if phase[row] == ON_DESK or not (
            bound[row] == BOUND_PREDECESSOR or bound[row] == BOUND_ARTIST
        ):
            break
        before = index(bound_row[row])
        if finish[before] < 0:
            break
        row = before
    return listed


@compiled
def since_when_overdue(p: Problem, now: Int, since: Int64s) -> None:
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
