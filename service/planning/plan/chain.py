"""What a date waits for: back from the last finish by what bound each start."""

from typing import NamedTuple

import numpy as np

from service.planning.kernel.line import (
    BOUND_ARTIST,
    BOUND_CALENDAR,
    BOUND_NOW,
    BOUND_PREDECESSOR,
    BOUND_RELEASE,
    ON_DESK,
)
from service.planning.kernel.readings import trace_back
from service.planning.plan.schedule import Schedule, delivery_rows

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
    plan, phase = schedule.plan, schedule.board.phase
    return tuple(
        Link(row, "on_desk" if phase[row] == ON_DESK else BOUNDS[int(plan.bound[row])])
        for row in _chain(schedule, episode)
    )


def first_of_chain(schedule: Schedule, episode: str) -> int | None:
    """The row of the first visit of an episode's critical chain: what the date waits for now."""
    rows = _chain(schedule, episode)
    return rows[0] if rows else None


def _chain(schedule: Schedule, episode: str) -> list[int]:
    """The rows of the critical chain, the first to be done first."""
    if episode not in schedule.board.frame.episodes:
        return []
    rows = delivery_rows(schedule.board, episode)
    if not len(rows):
        return []
    finish = schedule.plan.finish[rows]
    if finish.max() < 0:
        return []
    # of several that finish in one minute the highest row, as for what binds a start
    last = int(rows[len(rows) - 1 - int(np.argmax(finish[::-1]))])
    return trace_back(schedule.board.phase, schedule.plan, last)[::-1]
