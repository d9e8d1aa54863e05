"""A department while the minutes pass: its tray, its artists, its working time; compiled.

`desks` has a row of int64 per department with the columns below.
"""

from typing import Final

from service.planning.kernel.compiled import Int, index, inlined, least
from service.planning.kernel.line import Int64s, KernelArrays
from service.planning.kernel.minutes import first_open
from service.vocabulary.calendar import NEVER

TRAY: Final = 0  # visits in its tray, and no place of theirs is before this word of `high`
TRAY_SINCE: Final = 1
BUSY: Final = 2
ARTISTS: Final = 3  # while the segment in force has a rate; else 0
RATE_E4: Final = 4
DAY_MIN: Final = 5
UNTIL: Final = 6  # what is said of window and segment holds before this minute
OPENS: Final = 7  # the window not over: start, end, working minutes before; NEVER if none is left
SHUTS: Final = 8
WORKED: Final = 9
SHUT_LAST: Final = 10  # the end of the window before it, or -1
FREED_AT: Final = 11  # when artists were last freed, and the first of their visits
FREED: Final = 12
TOUCHED_AT: Final = 13
WINDOW: Final = 14  # the first window that is not over
CREW: Final = 15  # the segment in force; one less than the first before any is
OPENING_SET: Final = 16  # the window and the segment whose beginning is already an event
CREW_SET: Final = 17
OVER: Final = 18  # the end of its last window, or -1
PLACED: Final = 19  # the next place that a visit is given
COLUMNS: Final = 20


@inlined
def lay_out(p: KernelArrays, desk: Int64s, d: Int, now: Int) -> None:
    """Find its first window; nothing of it has passed."""
    past = index(p.window_from[d + 1])
    desk[WINDOW] = first_open(p, d, now)
    desk[OVER] = p.window_end[past - 1] if past > p.window_from[d] else -1
    desk[CREW] = p.crew_from[d] - 1
    for column in (UNTIL, FREED_AT, FREED, TOUCHED_AT, OPENING_SET, CREW_SET):
        desk[column] = -1


@inlined
def move_on(p: KernelArrays, desk: Int64s, d: Int, t: Int) -> None:
    """Say which window and which segment are next or in force at `t`."""
    window, windows = index(desk[WINDOW]), index(p.window_from[d + 1])
    while window < windows and p.window_end[window] <= t:
        window += 1
    crew, crews = desk[CREW], index(p.crew_from[d + 1])
    while crew + 1 < crews and p.crew_at_min[crew + 1] <= t:
        crew += 1
    desk[WINDOW], desk[CREW] = window, crew
    desk[UNTIL] = desk[OPENS] = NEVER
    if window < windows:
        desk[OPENS] = p.window_start[window]
        desk[SHUTS] = desk[UNTIL] = p.window_end[window]
        desk[WORKED] = p.window_before[window]
    desk[SHUT_LAST] = p.window_end[window - 1] if window > p.window_from[d] else -1
    if crew + 1 < crews:
        desk[UNTIL] = least(desk[UNTIL], p.crew_at_min[crew + 1])
    desk[ARTISTS] = 0
    if crew >= p.crew_from[d] and p.crew_rate_e4[crew] > 0:
        desk[ARTISTS] = p.crew_artists[crew]
        desk[RATE_E4], desk[DAY_MIN] = p.crew_rate_e4[crew], p.crew_day_min[crew]
