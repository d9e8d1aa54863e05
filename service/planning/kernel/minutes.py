"""How long a visit takes and when it ends: work to minutes, minutes along the windows; compiled."""

import numpy as np

from service.planning.kernel.compiled import Int, compiled, index, inlined, most
from service.planning.kernel.line import ON_DESK, OUT, Int64s, KernelArrays
from service.vocabulary.calendar import NEVER


@inlined
def rated_segment(p: KernelArrays, d: Int, t: Int) -> Int:
    """The segment with a rate in force at `t`, else the next one, else the last; -1 for none."""
    first, past = np.int64(p.crew_from[d]), np.int64(p.crew_from[d + 1])
    later = first
    while later < past and p.crew_at_min[later] <= t:
        later += 1
    if later > first and p.crew_rate_e4[later - 1] > 0:
        return later - 1
    for segment in range(later, past):
        if p.crew_rate_e4[segment] > 0:
            return segment
    for segment in range(later - 1, first - 1, -1):
        if p.crew_rate_e4[segment] > 0:
            return segment
    return np.int64(-1)


@inlined
def duration(p: KernelArrays, row: Int, segment: Int) -> Int:
    """Working minutes of a row's work at the rate of a segment, rounded up, at least 1."""
    return working_minutes(p.work_e4[row], p.crew_day_min[segment], p.crew_rate_e4[segment])


@inlined
def working_minutes(work_e4: Int, day_min: Int, rate_e4: Int) -> Int:
    """The minutes that a work takes, rounded up, at least 1."""
    return most(np.int64(1), (work_e4 * day_min + rate_e4 - 1) // rate_e4)


@inlined
def minutes_left(p: KernelArrays, row: Int, segment: Int, started: Int, now: Int) -> Int:
    """Working minutes still to do at `now`."""
    d = np.int64(p.department[row])
    done = worked_before(p, d, now) - worked_before(p, d, started)
    return most(np.int64(1), duration(p, row, segment) - most(np.int64(0), done))


@inlined
def first_open(p: KernelArrays, d: Int, t: Int) -> Int:
    """The first window of a department that is not over at `t`."""
    low, high = np.int64(p.window_from[d]), np.int64(p.window_from[d + 1])
    while low < high:
        middle = (low + high) // 2
        if p.window_end[middle] <= t:
            low = middle + 1
        else:
            high = middle
    return low


@inlined
def worked_before(p: KernelArrays, d: Int, t: Int) -> Int:
    """Working minutes of a department before `t`."""
    window = first_open(p, d, t)
    if window < p.window_from[d + 1]:
        return p.window_before[window] + most(np.int64(0), t - p.window_start[window])
    if window == p.window_from[d]:
        return np.int64(0)
    return p.window_before[window - 1] + p.window_end[window - 1] - p.window_start[window - 1]


@inlined
def end_of_minute(p: KernelArrays, d: Int, window: Int, target: Int) -> Int:
    """The end of the department's working minute number `target`, looked for from a window on.

    Most visits end soon, so the steps grow before they shrink.
    """
    windows = index(p.window_from[d + 1])
    low, step = index(window), np.int64(1)
    while low + step < windows and p.window_before[index(low + step)] < target:
        low += step
        step *= 2
    while step > 1:
        step >>= 1
        if low + step < windows and p.window_before[index(low + step)] < target:
            low += step
    low = index(low)
    if low >= windows:
        return NEVER
    end = p.window_start[low] + target - p.window_before[low]
    return end if end <= p.window_end[low] else NEVER


@compiled
def row_durations(p: KernelArrays, start: Int64s, now: Int, minutes: Int64s) -> None:
    """Working minutes of each row at the rate of its start, or left of it; OUT: 0."""
    for row in range(len(p.state)):
        if p.state[row] == OUT:
            continue
        at = start[row] if start[row] < NEVER else now
        segment = rated_segment(p, np.int64(p.department[row]), at)
        if segment < 0:
            minutes[row] = 1
        elif p.state[row] == ON_DESK:
            minutes[row] = minutes_left(p, row, segment, at, now)
        else:
            minutes[row] = duration(p, row, segment)
