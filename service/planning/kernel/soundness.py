"""The check of a line before compiled code takes it, which trusts its arrays and checks nothing.

A line that does not pass raises BrokenLineError, which names the array, and the row where there is
one. Checked here, before each plan: that lengths agree, offsets begin at 0, never decrease and end
at the length, and states, departments, successors, work and minutes are in their ranges. `Hours`,
`Crews` and `Ranking` were checked when they were made, so that here only their sizes are compared.

Rows that wait for each other in a circle are found later, at no cost to other lines: by `dispatch`
where such rows are left without a start, by `latest` among all rows that are open. Neither reads
or writes outside its arrays because of them.
"""

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from service.planning.kernel.compiled import Int, compiled, inlined
from service.planning.kernel.line import (
    MINUTE_LAST,
    ON_DESK,
    OUT,
    WAITING,
    WORK_E4_MOST,
    BrokenLineError,
    Int8s,
    Int64s,
    KernelArrays,
    Line,
    whole_numbers,
)
from service.vocabulary.calendar import NEVER

COUNT_MOST: Final = 2**30 - 1
"""Of rows and of arcs: the kernel counts inputs in 31 bits and takes one of them for itself."""

_RULES: Final = (
    ("department", "is no number of a department"),
    ("state", "is none of WAITING, ON_DESK and OUT"),
    ("work_e4", f"is not between 0 and {WORK_E4_MOST}"),
    ("started_min", f"is not between 0 and {MINUTE_LAST}"),
    ("release_min", f"is not between 0 and {NEVER}"),
    ("successor_from", "is greater than that of the next row"),
    ("successor", "is no row"),
)
"""Arrays, and what is wrong with an entry that `_first_wrong` finds."""


def problem(line: Line) -> KernelArrays:
    """The arrays of a line in one fixed type each, so that every line meets the same compilation.

    They are read-only views, copied only where they are not contiguous integers of that type.
    Raises BrokenLineError where compiled code could not trust them.
    """
    hours, crews = line.hours, line.crews
    p = KernelArrays(
        department=_view("department", line.department, np.int32),
        state=_view("state", line.state, np.int8),
        work_e4=_view("work_e4", line.work_e4, np.int64),
        started_min=_view("started_min", line.started_min, np.int64),
        release_min=_view("release_min", line.release_min, np.int64),
        order=line.ranking.order,
        successor_from=_view("successor_from", line.successor_from, np.int32),
        successor=_view("successor", line.successor, np.int32),
        window_from=hours.window_from,
        window_start=hours.window_start,
        window_end=hours.window_end,
        window_before=hours.window_before,
        crew_from=crews.crew_from,
        crew_at_min=crews.crew_at_min,
        crew_artists=crews.crew_artists,
        crew_rate_e4=crews.crew_rate_e4,
        crew_day_min=crews.crew_day_min,
    )
    _compare_sizes(p, line.now_min)
    places = _first_wrong(p)
    if max(places) >= 0:
        raise _broken(p, places)
    if not line.ranking.distinct:
        _refuse_ties(p, line.ranking.key)
    return p


def minutes_by_row(p: KernelArrays, array: str, minutes: Int64s) -> Int64s:
    """Minutes by row of a problem as the compiled functions take them: from -NEVER to NEVER.

    Raises BrokenLineError where there is not one for each row, or one is not in that range.
    """
    values: Int64s = _view(array, minutes, np.int64)
    same_length(array, values, len(p.state))
    row = _first_minute_outside(values)
    if row >= 0:
        raise BrokenLineError(array, f"{values[row]} is not between -NEVER and NEVER", row)
    return values


def same_length(array: str, values: npt.NDArray[Any], rows: int) -> None:
    """Raise BrokenLineError unless an array has an entry for each of so many rows."""
    if len(values) != rows:
        raise BrokenLineError(array, f"{len(values)} entries for {rows} rows")


def _view(array: str, values: npt.NDArray[Any], kind: type[Any]) -> npt.NDArray[Any]:
    view = whole_numbers(array, values, kind).view()
    view.setflags(write=False)
    return view


def _compare_sizes(p: KernelArrays, now_min: int) -> None:
    rows, arcs = len(p.state), len(p.successor)
    if rows > COUNT_MOST or arcs > COUNT_MOST:
        raise BrokenLineError("state", f"{rows} rows and {arcs} arcs, more than {COUNT_MOST}")
    same_length("department", p.department, rows)
    same_length("work_e4", p.work_e4, rows)
    same_length("started_min", p.started_min, rows)
    same_length("release_min", p.release_min, rows)
    same_length("ranking", p.order, rows)
    if len(p.successor_from) != rows + 1:
        entries = f"{len(p.successor_from)} entries, not {rows + 1}"
        raise BrokenLineError("successor_from", f"{entries}, for {rows} rows")
    if p.successor_from[0] != 0 or p.successor_from[-1] != arcs:
        ends = f"from {p.successor_from[0]} to {p.successor_from[-1]}"
        raise BrokenLineError("successor_from", f"leads {ends}, not from 0 to {arcs}")
    if len(p.window_from) != len(p.crew_from):
        hours, crews = len(p.window_from) - 1, len(p.crew_from) - 1
        raise BrokenLineError("crew_from", f"{crews} departments, and {hours} in the hours")
    if not 0 <= now_min <= MINUTE_LAST:
        raise BrokenLineError("now_min", f"{now_min} is not between 0 and {MINUTE_LAST}")


@compiled
def _first_wrong(p: KernelArrays) -> tuple[Int, ...]:
    """By rule of `_RULES`, the first entry of its array that breaks it, or -1."""
    return (
        _outside(p.department, 0, len(p.window_from) - 2),
        _outside(p.state, WAITING, OUT),
        _outside(p.work_e4, 0, WORK_E4_MOST),
        _outside_on_desk(p.state, p.started_min),
        _outside(p.release_min, 0, NEVER),
        _falling(p.successor_from),
        _outside(p.successor, 0, len(p.state) - 1),
    )


# Each of these goes through its array without a branch, which compiles to a few instructions for
# many entries at once, and looks for the place only where there is one.


@inlined
def _outside(values: npt.NDArray[Any], least: Int, most: Int) -> Int:
    """The place of the first value that is not between two others; -1 if all are."""
    wrong = False
    for i in range(len(values)):
        wrong |= (values[i] < least) | (values[i] > most)
    if not wrong:
        return -1
    for i in range(len(values)):
        if values[i] < least or values[i] > most:
            return i
    return -1


@inlined
def _outside_on_desk(state: Int8s, started: Int64s) -> Int:
    """The first row on a desk whose start is no minute; -1 if all are."""
    wrong = False
    for row in range(len(state)):
        wrong |= (state[row] == ON_DESK) & ((started[row] < 0) | (started[row] > MINUTE_LAST))
    if not wrong:
        return -1
    for row in range(len(state)):
        if state[row] == ON_DESK and (started[row] < 0 or started[row] > MINUTE_LAST):
            return row
    return -1


@inlined
def _falling(values: npt.NDArray[Any]) -> Int:
    """The place of the first value that is greater than the next one; -1 if none is."""
    wrong = False
    for i in range(len(values) - 1):
        wrong |= values[i] > values[i + 1]
    if not wrong:
        return -1
    for i in range(len(values) - 1):
        if values[i] > values[i + 1]:
            return i
    return -1


@compiled
def _first_minute_outside(minutes: Int64s) -> Int:
    return _outside(minutes, -NEVER, NEVER)


def _broken(p: KernelArrays, places: tuple[int, ...]) -> BrokenLineError:
    """The error for the first rule that is broken."""
    (array, reason), place = next(
        (rule, place) for rule, place in zip(_RULES, places, strict=True) if place >= 0
    )
    row = place
    if array == "successor":
        row = int(np.searchsorted(p.successor_from, place, side="right")) - 1
    return BrokenLineError(array, f"{getattr(p, array)[place]} {reason}", row)


def _refuse_ties(p: KernelArrays, key: Int64s) -> None:
    """Raise BrokenLineError where two rows that wait in one department have the same key."""
    waiting = np.flatnonzero(p.state == WAITING)
    rows = waiting[np.lexsort((key[waiting], p.department[waiting]))]
    before, after = rows[:-1], rows[1:]
    tied = (key[before] == key[after]) & (p.department[before] == p.department[after])
    for place in np.flatnonzero(tied).tolist()[:1]:
        row, other = int(after[place]), int(before[place])
        raise BrokenLineError("ranking", f"key {key[row]} is that of row {other} too", row)
