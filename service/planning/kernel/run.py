"""The compiled part of dispatching: arrays in, arrays out; the rules are told in `dispatch`."""

from typing import NamedTuple

import numpy as np

from service.planning.kernel import desks as of
from service.planning.kernel.compiled import Int, compiled, index, inlined, most
from service.planning.kernel.desks import COLUMNS, lay_out, move_on
from service.planning.kernel.heaps import pop_event, push_event
from service.planning.kernel.line import (
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
    KernelArrays,
)
from service.planning.kernel.minutes import (
    end_of_minute,
    minutes_left,
    rated_segment,
    worked_before,
    working_minutes,
)
from service.planning.kernel.trays import HIGH_BITS, PLACES_APART, WORD_BITS, put, take_first
from service.planning.kernel.wheel import AHEAD_MIN, first_ending, put_ending, take_ending
from service.vocabulary.calendar import NEVER


class Run(NamedTuple):
    """What changes while the minutes pass.

    By row: `start` to `bound_row` are the plan; `inputs` counts what must still come, a hold among
    it, `came` is minute << 32 | what brought it, of the last input, `place` the bit in the trays
    (`row_at` by place), and `link` the next row that ends in the same minute or whose artist was
    freed in it.

    What ends soon is in the wheel (`filled`, `ending`). What lies farther ahead is in `events`, a
    heap from entry 1 on (entry 0 is its size) of minute << 32 | code; the code is a row that
    finishes, n + a row that is released, or 2n + a department to look at again. A row has one at
    most, a department two. `touched` lists (entry 0: how many) the departments to look at in this
    minute. No result depends on the order in which a minute's finishes and arrivals are taken.
    """

    start: Int64s
    finish: Int64s
    bound: Int8s
    bound_row: Int32s
    inputs: Int32s
    came: Int64s
    place: Int32s
    row_at: Int32s
    link: Int32s
    desks: Int64s
    low: Int64s
    high: Int64s
    filled: Int64s
    ending: Int32s
    events: Int64s
    touched: Int32s


CODE_BITS = 32
CODE_MASK = (1 << CODE_BITS) - 1

NEVER_THERE = 1 << 30
"""Inputs of a row that does not wait: they never all come."""

# What brings a row, in order of what counts if several do so in one minute: the highest row.
BY_NOW = 0
BY_RELEASE = 1
BY_ROW = 2  # and the predecessor's row


def empty_run(p: KernelArrays) -> Run:
    """Arrays for a run of that size, which the kernel fills."""
    n, departments = len(p.state), len(p.window_from) - 1
    places = (n // PLACES_APART + departments + 1) * PLACES_APART
    return Run(
        start=np.full(n, NEVER, np.int64),
        finish=np.full(n, NEVER, np.int64),
        bound=np.full(n, BOUND_NOW, np.int8),
        bound_row=np.full(n, -1, np.int32),
        inputs=np.zeros(n, np.int32),
        came=np.zeros(n, np.int64),
        place=np.zeros(n, np.int32),
        row_at=np.zeros(places, np.int32),
        link=np.zeros(n, np.int32),
        desks=np.zeros((departments, COLUMNS), np.int64),
        low=np.zeros(places >> WORD_BITS, np.int64),
        high=np.zeros(places >> HIGH_BITS, np.int64),
        filled=np.zeros(AHEAD_MIN >> WORD_BITS, np.int64),
        ending=np.full(AHEAD_MIN, -1, np.int32),
        events=np.zeros(1 + n + 2 * departments, np.int64),
        touched=np.zeros(departments + 1, np.int32),
    )


@compiled
def run(p: KernelArrays, g: Run, now: Int) -> Int:
    """Fill in start, finish, bound and bound_row of every row of an empty run.

    How many rows are left that still wait for an input.
    """
    _begin(p, g, now)
    n, t = len(p.state), np.int64(now)
    while True:
        touched = g.touched[0]
        g.touched[0] = 0
        for i in range(1, touched + 1):
            _look_at(p, g, index(g.touched[i]), t)
        far = g.events[1] >> CODE_BITS if g.events[0] > 0 else NEVER
        t = first_ending(g.filled, t, far)
        if t == NEVER:
            break
        row = take_ending(g.filled, g.ending, t)
        while row >= 0:
            following = np.int64(g.link[row])
            _finish(p, g, row, t)
            row = following
        while g.events[0] > 0 and g.events[1] >> CODE_BITS == t:
            code = pop_event(g.events) & CODE_MASK
            if code < n:
                _finish(p, g, code, t)
            elif code < 2 * n:
                _input(p, g, code - n, t, BY_RELEASE)
            else:
                _touch(g, g.desks[code - 2 * n], code - 2 * n, t)
    return _explain_unplanned(p, g)


@inlined
def _begin(p: KernelArrays, g: Run, now: Int) -> None:
    """Give rows their places, count their inputs, take up what is on a desk or in a tray."""
    n = len(p.state)
    _place(p, g, now)
    for row in range(n):
        if p.state[row] == OUT:
            g.start[row] = g.finish[row] = -1
            continue
        for arc in range(p.successor_from[row], p.successor_from[row + 1]):
            g.inputs[index(p.successor[arc])] += 1
        if p.state[row] == ON_DESK:
            g.inputs[row] += NEVER_THERE
            _take_up(p, g, row, now)
        elif p.release_min[row] > now:
            g.inputs[row] += 1
            if p.release_min[row] < g.desks[index(p.department[row]), of.OVER]:
                push_event(g.events, (p.release_min[row] << CODE_BITS) | (n + row))
    for row in range(n):
        if p.state[row] == WAITING and g.inputs[row] == 0:
            g.came[row] = (np.int64(now) << CODE_BITS) | BY_NOW
            _into_tray(p, g, row, now)


@inlined
def _place(p: KernelArrays, g: Run, now: Int) -> None:
    """Number the waiting rows by department and key."""
    for row in range(len(p.state)):
        if p.state[row] == WAITING:
            g.desks[index(p.department[row]), of.PLACED] += 1
        elif p.state[row] == OUT:
            g.inputs[row] = NEVER_THERE
    places = np.int64(0)
    for d in range(len(g.desks)):
        rows = g.desks[d, of.PLACED]
        g.desks[d, of.PLACED] = places
        places += ((rows + PLACES_APART - 1) >> HIGH_BITS) << HIGH_BITS
        lay_out(p, g.desks[d], np.int64(d), now)
    for i in range(len(p.order)):
        row = index(p.order[i])
        if p.state[row] == WAITING:
            d = index(p.department[row])
            place = index(g.desks[d, of.PLACED])
            g.desks[d, of.PLACED] = place + 1
            g.place[row] = place
            g.row_at[place] = row


@inlined
def _take_up(p: KernelArrays, g: Run, row: Int, now: Int) -> None:
    """A row that was on a desk before now: its artist is busy until its remainder is done."""
    d = index(p.department[row])
    started = p.started_min[row]
    g.start[row] = started
    g.desks[d, of.BUSY] += 1
    segment = rated_segment(p, d, started)
    if segment >= 0:
        target = worked_before(p, d, now) + minutes_left(p, row, segment, started, now)
        _finish_at(g, row, end_of_minute(p, d, g.desks[d, of.WINDOW], target), np.int64(now))


@inlined
def _finish(p: KernelArrays, g: Run, row: Int, t: Int) -> None:
    d = index(p.department[row])
    desk = g.desks[d]
    desk[of.BUSY] -= 1
    _free(g, desk, row, t)
    _touch(g, desk, d, t)
    for arc in range(index(p.successor_from[row]), index(p.successor_from[row + 1])):
        _input(p, g, index(p.successor[arc]), t, BY_ROW + row)


@inlined
def _free(g: Run, desk: Int64s, row: Int, t: Int) -> None:
    """List a row, in order of rows, among those of its department that end at `t`."""
    first = desk[of.FREED] if desk[of.FREED_AT] == t else -1
    desk[of.FREED_AT] = t
    if first < 0 or row < first:
        g.link[row] = first
        desk[of.FREED] = row
        return
    before = index(first)
    following = np.int64(g.link[before])
    while following >= 0 and following < row:
        before = index(following)
        following = np.int64(g.link[before])
    g.link[row] = following
    g.link[before] = row


@inlined
def _input(p: KernelArrays, g: Run, row: Int, t: Int, by: Int) -> None:
    """An input comes; with the last one the row is in its department's tray."""
    g.came[row] = most(g.came[row], (t << CODE_BITS) | by)
    left = g.inputs[row] - 1
    g.inputs[row] = left
    if left == 0:
        _into_tray(p, g, row, t)


@inlined
def _into_tray(p: KernelArrays, g: Run, row: Int, t: Int) -> None:
    d = index(p.department[row])
    desk = g.desks[d]
    place = index(g.place[row])
    put(g.low, g.high, place)
    since = place >> HIGH_BITS
    if desk[of.TRAY] == 0 or since < desk[of.TRAY_SINCE]:
        desk[of.TRAY_SINCE] = since
    desk[of.TRAY] += 1
    _touch(g, desk, d, t)


@inlined
def _touch(g: Run, desk: Int64s, d: Int, t: Int) -> None:
    if desk[of.TOUCHED_AT] != t:
        desk[of.TOUCHED_AT] = t
        touched = index(g.touched[0] + 1)
        g.touched[0] = touched
        g.touched[touched] = d


@inlined
def _look_at(p: KernelArrays, g: Run, d: Int, t: Int) -> None:
    """Start what can start; where something must wait for it, make the next change an event."""
    desk = g.desks[d]
    if desk[of.TRAY] == 0:
        return
    if t >= desk[of.UNTIL]:
        move_on(p, desk, d, t)
    look_again = 2 * len(p.state) + d
    if t < desk[of.OPENS]:
        if desk[of.OPENS] < NEVER and desk[of.OPENING_SET] != desk[of.WINDOW]:
            desk[of.OPENING_SET] = desk[of.WINDOW]
            push_event(g.events, (desk[of.OPENS] << CODE_BITS) | look_again)
        return
    while desk[of.TRAY] > 0 and desk[of.BUSY] < desk[of.ARTISTS]:
        _start(p, g, desk, d, t)
    changes = index(desk[of.CREW] + 1)
    if desk[of.TRAY] > 0 and changes < p.crew_from[d + 1] and desk[of.CREW_SET] != changes:
        desk[of.CREW_SET] = changes
        if p.crew_at_min[changes] < desk[of.OVER]:
            push_event(g.events, (p.crew_at_min[changes] << CODE_BITS) | look_again)


@inlined
def _start(p: KernelArrays, g: Run, desk: Int64s, d: Int, t: Int) -> None:
    """The first of the tray starts, within the current window and segment."""
    place = take_first(g.low, g.high, desk[of.TRAY_SINCE])
    row = index(g.row_at[place])
    desk[of.TRAY_SINCE] = place >> HIGH_BITS
    desk[of.TRAY] -= 1
    desk[of.BUSY] += 1
    g.start[row] = t
    _bind(g, desk, row, t)
    end = t + working_minutes(p.work_e4[row], desk[of.DAY_MIN], desk[of.RATE_E4])
    if end > desk[of.SHUTS]:
        target = desk[of.WORKED] + end - desk[of.OPENS]
        end = end_of_minute(p, d, desk[of.WINDOW], target)
    _finish_at(g, row, end, t)


@inlined
def _bind(g: Run, desk: Int64s, row: Int, t: Int) -> None:
    """Say what bound a start at `t`: what brought it, if the last working minute was over then."""
    last_worked = t if t > desk[of.OPENS] else desk[of.SHUT_LAST]
    came, by = g.came[row] >> CODE_BITS, g.came[row] & CODE_MASK
    if came >= last_worked:
        if by >= BY_ROW:
            g.bound[row] = BOUND_PREDECESSOR
            g.bound_row[row] = by - BY_ROW
        elif by == BY_RELEASE:
            g.bound[row] = BOUND_RELEASE
        elif came < t:
            g.bound[row] = BOUND_CALENDAR
    elif desk[of.FREED_AT] == last_worked and desk[of.FREED] >= 0:
        freed = index(desk[of.FREED])
        g.bound[row] = BOUND_ARTIST
        g.bound_row[row] = freed
        desk[of.FREED] = g.link[freed]
    else:
        g.bound[row] = BOUND_CALENDAR


@inlined
def _finish_at(g: Run, row: Int, end: Int, t: Int) -> None:
    g.finish[row] = end
    if end < t + AHEAD_MIN:
        put_ending(g.filled, g.ending, g.link, row, end)
    elif end < NEVER:
        push_event(g.events, (end << CODE_BITS) | row)


@inlined
def _explain_unplanned(p: KernelArrays, g: Run) -> Int:
    """Rows without a start name their first input without a finish, else hold or calendar.

    How many of them wait for an input.
    """
    left = 0
    for row in range(len(p.state)):
        if g.start[row] == NEVER:
            left += g.inputs[row] != 0
            g.bound[row] = BOUND_CALENDAR if g.inputs[row] == 0 else BOUND_RELEASE
    for row in range(len(p.state)):
        if g.finish[row] < NEVER:
            continue
        for arc in range(p.successor_from[row], p.successor_from[row + 1]):
            after = p.successor[arc]
            if p.state[after] == WAITING and g.bound[after] != BOUND_PREDECESSOR:
                g.bound[after] = BOUND_PREDECESSOR
                g.bound_row[after] = row
    return left
