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
a crew comes. Rows that wait for each other in a circle would be left without a start too; that is a
fault of the line and raised.
"""

import numpy as np

from service.planning.kernel.backward import latest
from service.planning.kernel.circles import refuse_circles
from service.planning.kernel.line import BOUND_NOW, WAITING, Line, Plan, empty_line
from service.planning.kernel.readings import first_change, since_when_overdue, trace_back
from service.planning.kernel.run import empty_run, run
from service.planning.kernel.soundness import problem
from service.vocabulary.calendar import NEVER


def dispatch(line: Line) -> Plan:
    """Start and finish of every visit to the minute, and what bound the start.

    Raises BrokenLineError where the line's arrays contradict each other (see `soundness`) or rows
    wait for each other in a circle.
    """
    p = problem(line)
    g = empty_run(p)
    if run(p, g, line.now_min):
        # the rows of a circle are among those that never start; so may be others
        refuse_circles(p, ((p.state == WAITING) & (g.start == NEVER)).astype(np.int8))
    return Plan(g.start, g.finish, g.bound, g.bound_row)


def warm() -> None:
    """Compile every kernel, or load it from the cache, before a process forks its workers."""
    nothing = empty_line(0)
    plan = dispatch(nothing)
    refuse_circles(problem(nothing), nothing.state)
    latest(nothing, plan, nothing.work_e4)
    first_change(nothing.state, plan)
    since_when_overdue(problem(nothing), 0, np.zeros(0, np.int64))
    minute, state = np.zeros(1, np.int64), np.zeros(1, np.int8)
    trace_back(state, Plan(minute, minute, state + BOUND_NOW, np.zeros(1, np.int32)), 0)
