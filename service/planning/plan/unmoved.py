"""How long a plan holds while nothing is recorded.

A plan made at a later minute is the same until something that it expects does not happen: until a
visit would have started, or one on a desk would have been handed off.
"""

from datetime import date

import numpy as np

from service.planning.kernel.readings import first_change
from service.planning.plan.schedule import Schedule
from service.production.state import STUDIO_CALENDAR
from service.vocabulary.calendar import end_of_day_min
from service.vocabulary.instants import US_PER_MIN, instant, instant_us


def stands_until(schedule: Schedule) -> int:
    """The last minute at which the same state is planned alike, by what can be seen cheaply.

    The plan's own minute where that cannot be said.
    """
    return schedule.kept("stands until", lambda: _stands_until(schedule))


def _stands_until(schedule: Schedule) -> int:
    now_min, board, state = schedule.now_min, schedule.board, schedule.state
    # a stoppage that lasts ends in the next minute once it is overdue
    if any(listed and listed[-1].lasts for listed in state.stoppages.values()):
        return now_min
    # what is on a desk needs a minute more at least
    ends = [first_change(board.phase, schedule.plan), _year_end_min(now_min)]
    calendar = state.calendars.get(STUDIO_CALENDAR)
    held = np.unique(board.held_on[board.held_on > 0]).tolist()
    if held and calendar is None:
        return now_min
    if calendar is not None:
        ends += [end_of_day_min(calendar, date.fromordinal(day)) - 1 for day in held]
    return max(now_min, min(ends))


def _year_end_min(now_min: int) -> int:
    """The last minute of the year: plans look at the calendars around their own."""
    following = instant(now_min * US_PER_MIN).year + 1
    new_year = instant(0).replace(year=following)
    return instant_us(new_year) // US_PER_MIN - 1
