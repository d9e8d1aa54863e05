"""The compiled part of dispatching: arrays in, arrays out; the rules are told in `dispatch`."""

from typing import NamedTuple

import numpy as np

from service.planning.compiled import Int, compiled, inlined
from service.planning.heaps import pop_event, pop_tray, push_event, push_tray
from service.planning.line import (
    BOUND_ARTIST,
    BOUND_CALENDAR,
    BOUND_NOW,
    BOUND_PREDECESSOR,
    BOUND_RELEASE,
    ON_DESK,
    OUT,
    WAITING,
    Int8s,
    Int32s,
    Int64s,
    Problem,
)
from service.planning.minutes import (
    duration,
    end_of_minute,
    first_open,
    minutes_left,
    rated_segment,
    worked_before,
)
from service.vocabulary.calendar import NEVER


class Run(NamedTuple):
    """What changes while the minutes pass.

    `events` is a heap from entry 1 on (entry 0 is its size) of minute << 32 | code; the code is a
    row that finishes, n + a row that is released, or 2n + a department to look at again. A row has
    one event at most, a department two. The trays are heaps in their parts of `tray_key` and
    `tray_row`. `touched` lists (entry 0: how many) the departments to look at in this minute.
    """

    start: Int64s
    finish: Int64s
    bound: Int8s
    bound_row: Int32s
    arrived: Int64s
    open_inputs: Int32s
    freed_next: Int32s
    desks: Int64s
    touched: Int32s
    events: Int64s
    tray_key: Int64s
    tray_row: Int32s


# Columns of `desks`, which has a row per department.
BUSY = 0
TRAY = 1  # visits in its tray, and where its part of the tray arrays begins
TRAY_FROM = 2
WINDOW = 3  # the first window that is not over
CREW = 4  # the segment in force; one less than the first before any is
OPENING_SET = 5  # the window and the segment whose beginning is already an event
CREW_SET = 6
FREED_AT = 7  # when artists were last freed, and the list of their visits
FREED_FIRST = 8
FREED_LAST = 9
TOUCHED_AT = 10
CLOSES = 11  # the end of its last window
COLUMNS = 12

CODE_BITS = 32
CODE_MASK = (1 << CODE_BITS) - 1


@compiled
def run(p: Problem, g: Run, now: Int) -> None:
    """Fill in start, finish, bound and bound_row of every row of an empty run."""
    _begin(p, g, now)
    for row in range(len(p.state)):
        if p.state[row] == ON_DESK:
            _take_up(p, g, row, now)
        elif p.state[row] == WAITING and g.open_inputs[row] == 0:
            _arrive(p, g, row, now)
    t = np.int64(now)
    while True:
        for i in range(1, g.touched[0] + 1):
            _look_at(p, g, np.int64(g.touched[i]), t)
        g.touched[0] = 0
        if g.events[0] == 0:
            break
        t = g.events[1] >> CODE_BITS
        while g.events[0] > 0 and g.events[1] >> CODE_BITS == t:
            _happen(p, g, pop_event(g.events) & CODE_MASK, t)
    _explain_unplanned(p, g)


@inlined
def _happen(p: Problem, g: Run, code: Int, t: Int) -> None:
    n = len(p.state)
    if code < n:
        _finish(p, g, code, t)
    elif code < 2 * n:
        _into_tray(p, g, code - n, t)
    else:
        _touch(g, code - 2 * n, t)


def empty_run(p: Problem) -> Run:
    """Arrays for a run of that size; the kernel fills them."""
    n, departments = len(p.state), len(p.window_from) - 1
    return Run(
        start=np.full(n, NEVER, np.int64),
        finish=np.full(n, NEVER, np.int64),
        bound=np.full(n, BOUND_NOW, np.int8),
        bound_row=np.full(n, -1, np.int32),
        arrived=np.full(n, -1, np.int64),
        open_inputs=np.zeros(n, np.int32),
        freed_next=np.full(n, -1, np.int32),
        desks=np.zeros((departments, COLUMNS), np.int64),
        touched=np.zeros(departments + 1, np.int32),
        events=np.zeros(1 + n + 2 * departments, np.int64),
        tray_key=np.zeros(n, np.int64),
        tray_row=np.zeros(n, np.int32),
    )


@inlined
def _begin(p: Problem, g: Run, now: Int) -> None:
    """Count open inputs, lay out the trays, find each department's first window."""
    for row in range(len(p.state)):
        if p.state[row] == OUT:
            g.start[row] = -1
            g.finish[row] = -1
            continue
        if p.state[row] == WAITING:
            g.desks[p.department[row], TRAY_FROM] += 1
        for arc in range(p.successor_from[row], p.successor_from[row + 1]):
            g.open_inputs[p.successor[arc]] += 1
    waiting = 0
    for d in range(len(g.desks)):
        rows = g.desks[d, TRAY_FROM]
        g.desks[d, TRAY_FROM] = waiting
        waiting += rows
        past = p.window_from[d + 1]
        g.desks[d, WINDOW] = first_open(p, d, now)
        g.desks[d, CLOSES] = p.window_end[past - 1] if past > p.window_from[d] else -1
        g.desks[d, CREW] = p.crew_from[d] - 1
        for column in (OPENING_SET, CREW_SET, FREED_AT, FREED_FIRST, TOUCHED_AT):
            g.desks[d, column] = -1


@inlined
def _take_up(p: Problem, g: Run, row: Int, now: Int) -> None:
    """A row that was on a desk before now: its artist is busy until its remainder is done."""
    d = np.int64(p.department[row])
    started = p.started_min[row]
    g.start[row] = started
    g.desks[d, BUSY] += 1
    segment = rated_segment(p, d, started)
    if segment >= 0:
        target = worked_before(p, d, now) + minutes_left(p, row, segment, started, now)
        _finish_at(g, row, end_of_minute(p, d, g.desks[d, WINDOW], target))


@inlined
def _arrive(p: Problem, g: Run, row: Int, t: Int) -> None:
    """The last input is there; a hold may still keep the row from the tray."""
    release = p.release_min[row]
    if release <= t:
        _into_tray(p, g, row, t)
        return
    g.bound[row] = BOUND_RELEASE
    g.bound_row[row] = -1
    if release < g.desks[p.department[row], CLOSES]:
        push_event(g.events, (release << CODE_BITS) | (len(p.state) + row))


@inlined
def _finish(p: Problem, g: Run, row: Int, t: Int) -> None:
    d = np.int64(p.department[row])
    g.desks[d, BUSY] -= 1
    if g.desks[d, FREED_AT] == t and g.desks[d, FREED_FIRST] >= 0:
        g.freed_next[g.desks[d, FREED_LAST]] = row
    else:
        g.desks[d, FREED_FIRST] = row
    g.desks[d, FREED_AT] = t
    g.desks[d, FREED_LAST] = row
    _touch(g, d, t)
    for arc in range(p.successor_from[row], p.successor_from[row + 1]):
        after = np.int64(p.successor[arc])
        g.open_inputs[after] -= 1
        if g.open_inputs[after] == 0 and p.state[after] == WAITING:
            g.bound[after] = BOUND_PREDECESSOR
            g.bound_row[after] = row
            _arrive(p, g, after, t)


@inlined
def _into_tray(p: Problem, g: Run, row: Int, t: Int) -> None:
    d = np.int64(p.department[row])
    g.arrived[row] = t
    size = g.desks[d, TRAY]
    push_tray(g.tray_key, g.tray_row, g.desks[d, TRAY_FROM], size, p.key[row], row)
    g.desks[d, TRAY] = size + 1
    _touch(g, d, t)


@inlined
def _touch(g: Run, d: Int, t: Int) -> None:
    if g.desks[d, TOUCHED_AT] != t:
        g.desks[d, TOUCHED_AT] = t
        g.touched[0] += 1
        g.touched[g.touched[0]] = d


@inlined
def _look_at(p: Problem, g: Run, d: Int, t: Int) -> None:
    """Start what can start; where something must wait for it, make the next change an event."""
    desk = g.desks[d]
    windows = p.window_from[d + 1]
    window = desk[WINDOW]
    while window < windows and p.window_end[window] <= t:
        window += 1
    desk[WINDOW] = window
    crews = p.crew_from[d + 1]
    crew = desk[CREW]
    while crew + 1 < crews and p.crew_at_min[crew + 1] <= t:
        crew += 1
    desk[CREW] = crew
    if window == windows or desk[TRAY] == 0:
        return
    look_again = 2 * len(p.state) + d
    if t < p.window_start[window]:
        if desk[OPENING_SET] != window:
            desk[OPENING_SET] = window
            push_event(g.events, (p.window_start[window] << CODE_BITS) | look_again)
        return
    if crew >= p.crew_from[d] and p.crew_rate_e4[crew] > 0:
        while desk[TRAY] > 0 and desk[BUSY] < p.crew_artists[crew]:
            _start(p, g, d, t)
    changes = crew + 1
    if desk[TRAY] > 0 and changes < crews and desk[CREW_SET] != changes:
        desk[CREW_SET] = changes
        if p.crew_at_min[changes] < desk[CLOSES]:
            push_event(g.events, (p.crew_at_min[changes] << CODE_BITS) | look_again)


@inlined
def _start(p: Problem, g: Run, d: Int, t: Int) -> None:
    """The first of the tray starts, within the current window and segment."""
    desk = g.desks[d]
    row = pop_tray(g.tray_key, g.tray_row, desk[TRAY_FROM], desk[TRAY])
    desk[TRAY] -= 1
    desk[BUSY] += 1
    window = desk[WINDOW]
    g.start[row] = t
    _bind(g, desk, row, t, _working_since(p, d, window, t))
    end = t + duration(p, row, desk[CREW])
    if end > p.window_end[window]:
        target = p.window_before[window] + end - p.window_start[window]
        end = end_of_minute(p, d, window, target)
    _finish_at(g, row, end)


@inlined
def _working_since(p: Problem, d: Int, window: Int, t: Int) -> Int:
    """The end of the last working minute before one that begins at `t`; -1 if there is none."""
    if t > p.window_start[window]:
        return t
    return p.window_end[window - 1] if window > p.window_from[d] else np.int64(-1)


@inlined
def _bind(g: Run, desk: Int64s, row: Int, t: Int, last_worked: Int) -> None:
    """Say what bound a start at `t`; on arrival the row was given what brought it."""
    if g.arrived[row] >= last_worked:
        if g.arrived[row] < t and g.bound[row] == BOUND_NOW:
            g.bound[row] = BOUND_CALENDAR
    elif desk[FREED_AT] == last_worked and desk[FREED_FIRST] >= 0:
        freed = desk[FREED_FIRST]
        g.bound[row] = BOUND_ARTIST
        g.bound_row[row] = freed
        desk[FREED_FIRST] = g.freed_next[freed]
    else:
        g.bound[row] = BOUND_CALENDAR
        g.bound_row[row] = -1


@inlined
def _finish_at(g: Run, row: Int, t: Int) -> None:
    g.finish[row] = t
    if t < NEVER:
        push_event(g.events, (t << CODE_BITS) | row)


@inlined
def _explain_unplanned(p: Problem, g: Run) -> None:
    """Rows without a start name their first input without a finish, else crew and calendar."""
    for row in range(len(p.state)):
        if g.start[row] == NEVER and g.arrived[row] >= 0:
            g.bound[row] = BOUND_CALENDAR
            g.bound_row[row] = -1
    for row in range(len(p.state)):
        if g.finish[row] < NEVER:
            continue
        for arc in range(p.successor_from[row], p.successor_from[row + 1]):
            after = p.successor[arc]
            if p.state[after] == WAITING and g.bound[after] != BOUND_PREDECESSOR:
                g.bound[after] = BOUND_PREDECESSOR
                g.bound_row[after] = row
