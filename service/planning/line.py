"""The scheduling problem and its answer in arrays: visits as rows, departments as numbers.

All instants are UTC minutes since the epoch, NEVER is the calendar's, windows are half-open. Lists
per row or per department are in CSR form: the entries of `d` are those from `from[d]` to
`from[d + 1]`.
"""

from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

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


@dataclass(frozen=True, eq=False, slots=True)
class Line:
    """`n` visits, `m` arcs between them and `D` departments as known at `now_min`.

    By visit (n):
    department   int32
    state        int8   WAITING, ON_DESK or OUT
    work_e4      int64  work still asked of this take, in ten-thousandths of the unit
    started_min  int64  actual start of a row that is ON_DESK
    release_min  int64  nothing starts before; 0 if nothing holds it, NEVER if no end is known
    key          int64  dispatch key, smallest first; unique among the WAITING of a department
    order        int64  the rows by their keys, where it is known already

    Arcs: `successor_from` int32 (n + 1), `successor` int32 (m).

    Working time by department: `window_from` int32 (D + 1); `window_start`, `window_end` and
    `window_before` (working minutes before the window) int64. Windows are disjoint, in order and
    between 0 and 2**31; one must reach back to the earliest `started_min` for the remainder of
    what is on a desk to be right.

    Crews by department: `crew_from` int32 (D + 1); segments in order of `crew_at_min` int64 (valid
    from), with `crew_artists` int32, `crew_rate_e4` int64 (units per artist-day in
    ten-thousandths) and `crew_day_min` int64 (working minutes per artist-day).
    """

    department: Int32s
    state: Int8s
    work_e4: Int64s
    started_min: Int64s
    release_min: Int64s
    key: Int64s
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
    now_min: int
    order: Int64s | None = None


_KINDS: tuple[type[Any], ...] = (
    *(np.int32, np.int8, np.int64, np.int64, np.int64, np.int64),
    *(np.int32, np.int32),
    *(np.int32, np.int64, np.int64, np.int64),
    *(np.int32, np.int64, np.int32, np.int64, np.int64),
)


class Problem(NamedTuple):
    """The arrays of a `Line` under the same names, as the compiled functions take them."""

    department: Int32s
    state: Int8s
    work_e4: Int64s
    started_min: Int64s
    release_min: Int64s
    key: Int64s
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


def problem(line: Line) -> Problem:
    """The arrays of a line in one fixed type each, so that every line meets the same compilation.

    They are read-only views, copied only where they are not contiguous integers of that type.
    """
    return Problem(
        *(
            _fixed(getattr(line, name), kind)
            for name, kind in zip(Problem._fields, _KINDS, strict=True)
        )
    )


def fixed_minutes(minutes: Int64s) -> Int64s:
    """An array of minutes as the compiled functions take it."""
    return _fixed(minutes, np.int64)


def _fixed(array: npt.NDArray[Any], kind: type[Any]) -> npt.NDArray[Any]:
    view = np.ascontiguousarray(array, dtype=kind).view()
    view.setflags(write=False)
    return view


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
