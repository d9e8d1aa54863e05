"""What lies past its time, and since when: on desks, and waiting for an answer."""

import numpy as np

from service.planning.kernel.line import Int64s, Line
from service.planning.kernel.readings import since_when_overdue
from service.planning.kernel.soundness import problem
from service.production.state import STUDIO_CALENDAR, Hold, State
from service.vocabulary.calendar import end_of_day_min


def overdue_since(line: Line) -> Int64s:
    """By row on a desk: the end of the last working minute that its work takes, if that is over.

    Counted from its start at the rate of then, as the plan counts what is left of it, by calendars
    and stoppages as they are known. -1 for rows that are in time or not on a desk.
    """
    since = np.full(len(line.state), -1, np.int64)
    since_when_overdue(problem(line), line.now_min, since)
    return since


def answer_overdue_since(state: State, hold: Hold, now_min: int) -> int | None:
    """The end of the day by which an answer was due, if it is over; None before."""
    calendar = state.calendars.get(STUDIO_CALENDAR)
    if calendar is None:
        return None
    end_min = end_of_day_min(calendar, hold.by_on)
    return end_min if end_min <= now_min else None
