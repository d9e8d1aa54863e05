"""The scheduling problem and its answer in arrays: visits as rows, departments as numbers.

All instants are UTC minutes since the epoch, NEVER is the calendar's, windows are half-open. Lists
per row or per department are in CSR form: the entries of `d` are those from `from[d]` to
`from[d + 1]`.

What many lines share (`Hours`, `Crews`, `Ranking`) is checked once, when it is made, and cannot be
written to afterwards. The rest of a line is checked before each plan, by `soundness`.
"""

from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from service.vocabulary.calendar import NEVER

Int8s = npt.NDArray[np.int8]
Int32s = npt.NDArray[np.int32]
Int64s = npt.NDArray[np.int64]

WAITING: Final = 0
ON_DESK: Final = 1
OUT: Final = 2
"""States of a row; OUT is done, omitted or not planned, and holds nothing up."""

BOUND_PREDECESSOR: Final = 0
BOUND_ARTIST: Final = 1
BOUND_CALENDAR: Final = 2
BOUND_NOW: Final = 3
BOUND_RELEASE: Final = 4
"""What bound a planned start; see `dispatch`."""

MINUTE_LAST: Final = 2**31 - 1
"""The last minute there can be, in the year 6053: with a row's number it fills 63 bits."""
WORK_E4_MOST: Final = 2**51
DAY_MIN_MOST: Final = 24 * 60
RATE_E4_MOST: Final = 2**60
"""Work times the minutes of a day, and a rate besides, stay below NEVER, which is 2**62."""


class BrokenLineError(ValueError):
    """The arrays of a line contradict each other, so no plan can be made of it: a fault.

    `array` is the name of the array, `row` the visit's row in the line (None where the fault is no
    single visit's), `reason` what is wrong with it.
    """

    def __init__(self, array: str, reason: str, row: int | None = None) -> None:
        super().__init__(f"{array}: {reason}" if row is None else f"{array} of row {row}: {reason}")
        self.array = array
        self.reason = reason
        self.row = row


def whole_numbers(array: str, values: npt.NDArray[Any], kind: type[Any]) -> npt.NDArray[Any]:
    """Values as one contiguous row of integers of a type; a copy only where they are not that yet.

    Raises BrokenLineError where they are no integers, or do not fit into the type.
    """
    if values.dtype == kind and values.ndim == 1:
        return np.ascontiguousarray(values)
    if values.ndim != 1 or values.dtype.kind not in "iu":
        raise BrokenLineError(
            array, f"{values.ndim} dimensions of {values.dtype}, not 1 of integers"
        )
    fitting = values.astype(kind)
    wrong = _first(fitting != values)
    if wrong is not None:
        raise BrokenLineError(
            array, f"entry {wrong} is {values[wrong]}, which is no {kind.__name__}"
        )
    return fitting


def _first(flags: npt.NDArray[np.bool_]) -> int | None:
    """The place of the first flag that is set."""
    place = int(flags.argmax()) if len(flags) else 0
    return place if len(flags) and flags[place] else None


def _refuse_first(array: str, flags: npt.NDArray[np.bool_], reason: str) -> None:
    """Raise BrokenLineError for the first entry of an array that is wrong."""
    place = _first(flags)
    if place is not None:
        raise BrokenLineError(array, f"entry {place} {reason}")


def _refuse_offsets(array: str, offsets: Int32s, count: int) -> None:
    """Raise BrokenLineError unless offsets begin at 0, never decrease and end at `count`."""
    if not len(offsets) or offsets[0] != 0 or offsets[-1] != count:
        ends = f"from {offsets[0]} to {offsets[-1]}" if len(offsets) else "nowhere"
        raise BrokenLineError(array, f"leads {ends}, not from 0 to {count}")
    _refuse_first(array, offsets[:-1] > offsets[1:], "is greater than the one behind it")


def _refuse_outside(array: str, values: npt.NDArray[Any], least: int, most: int) -> None:
    _refuse_first(array, (values < least) | (values > most), f"is not between {least} and {most}")


def _same_department(offsets: Int32s, count: int) -> npt.NDArray[np.bool_]:
    """By entry of a CSR list, the first left out: whether the one before is the same list's."""
    same = np.ones(count, np.bool_)
    same[offsets[:-1][np.diff(offsets) > 0]] = False
    return same[1:]


class _Shared:
    """Arrays that many lines share: checked when they are made, read-only from then on."""

    __slots__ = ()

    def _fix(self, array: str, kind: type[Any]) -> npt.NDArray[Any]:
        """Put integers of a type in an array's place that nobody can write to, and return them."""
        given = getattr(self, array)
        values = whole_numbers(array, given, kind)
        if values is given and (values.flags.writeable or not values.flags.owndata):
            values = values.copy()
        values.setflags(write=False)
        object.__setattr__(self, array, values)
        return values


@dataclass(frozen=True, eq=False, slots=True)
class Hours(_Shared):
    """When each of `D` departments works, in windows; raises BrokenLineError where they break this.

    window_from    int32 (D + 1)  offsets of the departments' windows
    window_start,
    window_end     int64          none is empty; those of a department are in order and disjoint,
                                  and lie between -2**31 and MINUTE_LAST
    window_before  int64          working minutes of the department before the window
    """

    window_from: Int32s
    window_start: Int64s
    window_end: Int64s
    window_before: Int64s

    def __post_init__(self) -> None:
        offsets = self._fix("window_from", np.int32)
        start, end = self._fix("window_start", np.int64), self._fix("window_end", np.int64)
        before = self._fix("window_before", np.int64)
        _refuse_offsets("window_from", offsets, len(start))
        for array, values in (("window_end", end), ("window_before", before)):
            if len(values) != len(start):
                raise BrokenLineError(array, f"{len(values)} entries for {len(start)} windows")
        _refuse_outside("window_start", start, -MINUTE_LAST - 1, MINUTE_LAST)
        _refuse_outside("window_end", end, -MINUTE_LAST - 1, MINUTE_LAST)
        _refuse_first("window_end", end <= start, "is not behind the window's start")
        same = _same_department(offsets, len(start))
        _refuse_first("window_end", same & (end[:-1] > start[1:]), "is behind the next one's start")
        worked = np.zeros(len(start), np.int64)
        worked[1:][same] = (before + end - start)[:-1][same]
        _refuse_first("window_before", before != worked, "is not the minutes worked before it")


@dataclass(frozen=True, eq=False, slots=True)
class Crews(_Shared):
    """Who works in each of `D` departments from when on; raises BrokenLineError as `Hours` does.

    crew_from     int32 (D + 1)  offsets of the departments' segments
    crew_at_min   int64          from when on a segment holds; a department's are in order
    crew_artists  int32          0 or more
    crew_rate_e4  int64          units per artist-day in ten-thousandths, 0 to RATE_E4_MOST
    crew_day_min  int64          working minutes per artist-day, 0 to DAY_MIN_MOST
    """

    crew_from: Int32s
    crew_at_min: Int64s
    crew_artists: Int32s
    crew_rate_e4: Int64s
    crew_day_min: Int64s

    def __post_init__(self) -> None:
        offsets, at = self._fix("crew_from", np.int32), self._fix("crew_at_min", np.int64)
        _refuse_offsets("crew_from", offsets, len(at))
        for array, kind, most in (
            ("crew_artists", np.int32, 2**31 - 1),
            ("crew_rate_e4", np.int64, RATE_E4_MOST),
            ("crew_day_min", np.int64, DAY_MIN_MOST),
        ):
            values = self._fix(array, kind)
            if len(values) != len(at):
                raise BrokenLineError(array, f"{len(values)} entries for {len(at)} segments")
            _refuse_outside(array, values, 0, most)
        _refuse_outside("crew_at_min", at, -NEVER, NEVER)
        same = _same_department(offsets, len(at))
        _refuse_first("crew_at_min", same & (at[:-1] > at[1:]), "is behind the next segment's")


@dataclass(frozen=True, eq=False, slots=True)
class Ranking(_Shared):
    """The dispatch rule of a line: a key (int64) by row, smallest first, and what follows from it.

    `order` (int64) are the rows by their keys, those of equal keys as they stand, and `distinct`
    says whether no two keys are equal. Both are derived here, so they always belong to these keys.
    """

    key: Int64s
    order: Int64s = field(init=False)
    distinct: bool = field(init=False)

    def __post_init__(self) -> None:
        key = self._fix("key", np.int64)
        order = np.argsort(key, kind="stable").astype(np.int64, copy=False)
        order.setflags(write=False)
        ordered = key[order]
        object.__setattr__(self, "order", order)
        object.__setattr__(self, "distinct", bool((ordered[:-1] < ordered[1:]).all()))


@dataclass(frozen=True, eq=False, slots=True)
class Line:
    """`n` visits, `m` arcs between them and `D` departments as known at `now_min`.

    By visit (n):
    department   int32  its number, 0 to D - 1
    state        int8   WAITING, ON_DESK or OUT
    work_e4      int64  work still asked of this take, in ten-thousandths of the unit
    started_min  int64  actual start of a row that is ON_DESK
    release_min  int64  nothing starts before; 0 if nothing holds it, NEVER if no end is known
    ranking             its key is unique among the WAITING of a department

    Arcs: `successor_from` int32 (n + 1), `successor` int32 (m), rows. No rows may wait for each
    other in a circle.

    Working time and crews by department: `hours` and `crews`. Windows must reach back to the
    earliest `started_min` for the remainder of what is on a desk to be right.
    """

    department: Int32s
    state: Int8s
    work_e4: Int64s
    started_min: Int64s
    release_min: Int64s
    ranking: Ranking
    successor_from: Int32s
    successor: Int32s
    hours: Hours
    crews: Crews
    now_min: int

    @property
    def key(self) -> Int64s:
        """The dispatch keys by row."""
        return self.ranking.key


def empty_line(now_min: int) -> Line:
    """A line of no visits and no departments."""
    none, no_rows, from_0 = np.zeros(0, np.int64), np.zeros(0, np.int32), np.zeros(1, np.int32)
    return Line(
        department=no_rows,
        state=np.zeros(0, np.int8),
        work_e4=none,
        started_min=none,
        release_min=none,
        ranking=Ranking(none),
        successor_from=from_0,
        successor=no_rows,
        hours=Hours(from_0, none, none, none),
        crews=Crews(from_0, none, no_rows, none, none),
        now_min=now_min,
    )


class KernelArrays(NamedTuple):
    """The arrays of a `Line` under the same names, as the compiled functions take them.

    These trust them; `soundness.problem` is what makes one.
    """

    department: Int32s
    state: Int8s
    work_e4: Int64s
    started_min: Int64s
    release_min: Int64s
    order: Int64s
    successor_from: Int32s
    successor: Int32s
    window_from: Int32s
    window_start: Int64s
    window_end: Int64s
    window_before: Int64s
    crew_from: Int32s
    crew_at_min: Int64s
    crew_artists: Int32s
    crew_rate_e4: Int64s
    crew_day_min: Int64s


@dataclass(frozen=True, eq=False, slots=True)
class Plan:
    """Projected start and finish of every row of a `Line`, and what bound the start.

    start, finish  int64  NEVER where it cannot start or end; both -1 for rows that are OUT;
                          the actual start for rows ON_DESK
    bound          int8   one of BOUND_...; BOUND_NOW for rows that are OUT or ON_DESK
    bound_row      int32  the predecessor that finished last, or the visit whose artist was freed;
                          -1 with any other bound
    """

    start: Int64s
    finish: Int64s
    bound: Int8s
    bound_row: Int32s


def empty_plan() -> Plan:
    """The plan of a line of no visits."""
    none = np.zeros(0, np.int64)
    return Plan(none, none.copy(), np.zeros(0, np.int8), np.zeros(0, np.int32))
