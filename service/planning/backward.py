"""The backward pass: how late a visit may finish without missing what is due behind it.

Along the arcs, with the plan's durations and every department's own working time, but without
crews: two visits may count on the same artist, so crews can eat the float this gives.
"""

import numpy as np

from service.planning.compiled import Int, compiled, index, inlined, least
from service.planning.line import OUT, Int32s, Int64s, Line, Plan, Problem, fixed_minutes, problem
from service.planning.minutes import row_durations, worked_before
from service.vocabulary.calendar import NEVER


def latest(line: Line, plan: Plan, due_min: Int64s) -> Int64s:
    """The latest finish (n) of every open row that still meets every due minute behind it.

    `due_min` (n) is what falls due on the row itself, NEVER if nothing does. The latest finish is
    the least of that and of the successors' latest starts, which lie as many working minutes
    before their latest finish as they take (`durations`). NEVER where no due minute reaches, and
    for rows that are OUT. Time before a department's first window counts as working, so that the
    answer is finite however late the row already is. Rows in a circle keep their own due minute.
    """
    p = problem(line)
    n = len(p.state)
    minutes = durations(line, plan)
    finish, start = np.full(n, NEVER, np.int64), np.full(n, NEVER, np.int64)
    order, open_inputs = np.zeros(n, np.int32), np.zeros(n, np.int32)
    pass_back(p, minutes, fixed_minutes(due_min), finish, start, order, open_inputs)
    return finish


def durations(line: Line, plan: Plan) -> Int64s:
    """Working minutes (n) each row takes at the rate of its planned start, or has left if ON_DESK.

    0 for rows that are OUT. A row that cannot start counts at the rate in force now, else the next,
    else the last there was; 1 if its department never had any.
    """
    minutes = np.zeros(len(line.state), np.int64)
    row_durations(problem(line), fixed_minutes(plan.start), line.now_min, minutes)
    return minutes


@compiled
def pass_back(
    p: Problem,
    minutes: Int64s,
    due: Int64s,
    finish: Int64s,
    start: Int64s,
    order: Int32s,
    open_inputs: Int32s,
) -> None:
    """Fill in latest finish and start, both NEVER before; `open_inputs` is 0 before."""
    ordered = _order(p, order, open_inputs)
    for row in range(len(p.state)):
        if p.state[row] != OUT:
            finish[row] = due[row]
    for i in range(ordered - 1, -1, -1):
        here = index(order[i])
        for arc in range(p.successor_from[here], p.successor_from[here + 1]):
            finish[here] = least(finish[here], start[index(p.successor[arc])])
        if finish[here] < NEVER:
            start[here] = _back(p, index(p.department[here]), finish[here], minutes[here])


@inlined
def _order(p: Problem, order: Int32s, open_inputs: Int32s) -> Int:
    """List open rows, each after its inputs; how many there are (all, unless in a circle)."""
    for row in range(len(p.state)):
        if p.state[row] != OUT:
            for arc in range(p.successor_from[row], p.successor_from[row + 1]):
                open_inputs[p.successor[arc]] += 1
    listed = 0
    for row in range(len(p.state)):
        if p.state[row] != OUT and open_inputs[row] == 0:
            order[listed] = row
            listed += 1
    done = 0
    while done < listed:
        here = np.int64(order[done])
        done += 1
        for arc in range(p.successor_from[here], p.successor_from[here + 1]):
            after = p.successor[arc]
            open_inputs[after] -= 1
            if open_inputs[after] == 0 and p.state[after] != OUT:
                order[listed] = after
                listed += 1
    return listed


@inlined
def _back(p: Problem, d: Int, t: Int, minutes: Int) -> Int:
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
