"""What a date waits for: back from the last finish by what bound each start."""

from typing import NamedTuple

import numpy as np

from service.planning.line import (
    BOUND_ARTIST,
    BOUND_CALENDAR,
    BOUND_NOW,
    BOUND_PREDECESSOR,
    BOUND_RELEASE,
    ON_DESK,
)
from service.planning.schedule import Schedule, delivery_rows

BOUNDS = {
    BOUND_PREDECESSOR: "predecessor",
    BOUND_ARTIST: "artist",
    BOUND_CALENDAR: "calendar",
    BOUND_NOW: "now",
    BOUND_RELEASE: "hold",
}


class Link(NamedTuple):
    """One visit of a chain, and what bound its start: one of BOUNDS, or "on_desk"."""

    row: int
    bound: str


def critical_chain(schedule: Schedule, episode: str) -> tuple[Link, ...]:
    """The visits that decide when an episode's delivery gate is met, the first to be done first.

    Empty where nothing open stands before it.
    """
    if episode not in schedule.board.frame.episodes:
        return ()
    rows = delivery_rows(schedule.board, episode)
    if not len(rows):
        return ()
    finish = schedule.plan.finish[rows]
    if finish.max() < 0:
        return ()
    # of several that finish in one minute the highest row, as for what binds a start
    return _back(schedule, int(rows[len(rows) - 1 - int(np.argmax(finish[::-1]))]))


def _back(schedule: Schedule, row: int) -> tuple[Link, ...]:
    plan, phase = schedule.plan, schedule.board.phase
    chain: list[Link] = []
    seen: set[int] = set()
    # a circle of visits that wait for each other has no first one
    while row not in seen:
        seen.add(row)
        if phase[row] == ON_DESK:
            chain.append(Link(row, "on_desk"))
            break
        bound = int(plan.bound[row])
        chain.append(Link(row, BOUNDS[bound]))
        if bound not in {BOUND_PREDECESSOR, BOUND_ARTIST}:
            break
        before = int(plan.bound_row[row])
        if plan.finish[before] < 0:
            break
        row = before
    return tuple(reversed(chain))
