"""The backward pass: how late a visit may finish without missing what is due behind it.

Along the arcs, with the plan's durations and every department's own working time, but without
crews: two visits may count on the same artist, so crews can eat the float this gives.
"""

import numpy as np

from service.planning.kernel.circles import circle_error, list_along_arcs
from service.planning.kernel.compiled import Int, compiled, index, inlined, least, most
from service.planning.kernel.line import OUT, Int8s, Int32s, Int64s, KernelArrays, Line, Plan
from service.planning.kernel.minutes import row_durations, worked_before
from service.planning.kernel.soundness import minutes_by_row, problem
from service.vocabulary.calendar import NEVER

EARLIEST_MIN = -(2**61)
"""No latest start lies before: several that take longest, one behind the other, would overflow."""


def latest(line: Line, plan: Plan, due_min: Int64s) -> Int64s:
    """The latest finish (n) of every open row that still meets every due minute behind it.

    `due_min` (n) is what falls due on the row itself, NEVER if nothing does. The latest finish is
    the least of that and of the successors' latest starts, which lie as many working minutes
    before their latest finish as they take (`_durations`). NEVER where no due minute reaches, and
    for rows that are OUT. Time before a department's first window counts as working, so that the
    answer is finite however late the row already is.

    Raises BrokenLineError where the arrays contradict each other (see `soundness`), or open rows
    stand in a circle.
    """
    p = problem(line)
    n = len(p.state)
    minutes = _durations(p, plan, line.now_min)
    due = minutes_by_row(p, "due_min", due_min)
    finish, start = np.full(n, NEVER, np.int64), np.full(n, NEVER, np.int64)
    listed, open_inputs = np.zeros(n, np.int32), np.zeros(n, np.int32)
    is_open = (p.state != OUT).astype(np.int8)
    count = pass_back(p, minutes, due, is_open, finish, start, listed, open_inputs)
    if count < np.count_nonzero(is_open):
        raise circle_error(p, is_open, listed[:count])
    return finish


def _durations(p: KernelArrays, plan: Plan, now_min: int) -> Int64s:
    """Working minutes (n) each row takes at the rate of its planned start, or has left if ON_DESK.

    0 for rows that are OUT. A row that cannot start counts at the rate in force now, else the next,
    else the last there was; 1 if its department never had any.
    """
    minutes = np.zeros(len(p.state), np.int64)
    row_durations(p, minutes_by_row(p, "start", plan.start), now_min, minutes)
    return minutes


@compiled
def pass_back(
    p: KernelArrays,
    minutes: Int64s,
    due: Int64s,
    is_open: Int8s,
    finish: Int64s,
    start: Int64s,
    listed: Int32s,
    open_inputs: Int32s,
) -> Int:
    """Fill in latest finish and start, both NEVER before; `open_inputs` is 0 before.

    How many open rows were listed along the arcs; what is written of the others does not count.
    """
    count = list_along_arcs(p, is_open, listed, open_inputs)
    for i in range(count - 1, -1, -1):
        here = index(listed[i])
        finish[here] = due[here]
        for arc in range(p.successor_from[here], p.successor_from[here + 1]):
            finish[here] = least(finish[here], start[index(p.successor[arc])])
        if finish[here] < NEVER:
            earliest = _back(p, index(p.department[here]), finish[here], minutes[here])
            start[here] = most(earliest, EARLIEST_MIN)
    return count


@inlined
def _back(p: KernelArrays, d: Int, t: Int, minutes: Int) -> Int:
    """The start of the first of the last `minutes` working minutes before `t`."""
    low, high = np.int64(p.window_from[d]), np.int64(p.window_from[d + 1])
    if low == high:
        return t - minutes
    target = worked_before(p, d, t) - minutes
    if target < 0:
        return least(t, p.window_start[low]) + target
    while high - low > 1:
        middle = (low + high) // 2
        if p.window_before[middle] <= target:
            low = middle
        else:
            high = middle
    return p.window_start[low] + target - p.window_before[low]
