"""The plan: non-delay list dispatching of visits to the artists of their departments.

Whenever an artist is free in working time and the tray is not empty, the visit with the smallest
key starts. In each minute: finishes, then arrivals, then crew changes and openings, then starts.
A visit is done by one artist without interruption but for non-working time; a crew that shrinks
finishes what it holds; without artists, or at a rate of 0, nothing starts until a later segment.
What is on a desk runs whatever its predecessors; if no rate was in force at its start, the next
one counts, else the last there was.

What bound a start is looked for in working time, so that a chain of causes runs on through the
nights: closing hours bind only what they alone kept waiting. A visit that came in during the last
working minute or since is bound by what brought it: its last predecessor (of several that finish
in one minute the highest row), the end of a hold, or that nothing starts before now, which becomes
the calendar if the department is closed then. One that was waiting before is bound by the artist
who was freed, else by the calendar: a crew that grew.

Of a row without a start, BOUND_PREDECESSOR names the first predecessor that has no finish,
BOUND_RELEASE means a hold that outlasts the windows, and BOUND_CALENDAR that no working time with
a crew comes.
"""

import numpy as np

from service.planning.backward import latest
from service.planning.kernel import empty_run, run
from service.planning.line import Line, Plan, problem
from service.planning.readings import first_change, since_when_overdue, trace_back


def dispatch(line: Line) -> Plan:
    """Start and finish of every visit to the minute, and what bound the start."""
    p = problem(line)
    g = empty_run(p, line.order)
    run(p, g, line.now_min)
    return Plan(g.start, g.finish, g.bound, g.bound_row)


def warm() -> None:
    """Compile every kernel, or load it from the cache, before a process forks its workers."""
    none, no_rows, from_0 = np.zeros(0, np.int64), np.zeros(0, np.int32), np.zeros(1, np.int32)
    nothing = Line(
        department=no_rows,
        state=np.zeros(0, np.int8),
        work_e4=none,
        started_min=none,
        release_min=none,
        key=none,
        successor_from=from_0,
        successor=no_rows,
        window_from=from_0,
        window_start=none,
        window_end=none,
        window_before=none,
        crew_from=from_0,
        crew_at_min=none,
        crew_artists=no_rows,
        crew_rate_e4=none,
        crew_day_min=none,
        now_min=0,
    )
    plan = dispatch(nothing)
    latest(nothing, plan, none)
    first_change(nothing.state, plan.start, plan.finish)
    since_when_overdue(problem(nothing), 0, none.copy())
    one, state = np.zeros(1, np.int64), np.zeros(1, np.int8)
    chain = np.zeros(1, np.int32)
    trace_back(state, one, state, chain, 0, chain, state.copy())
