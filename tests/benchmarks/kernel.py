"""The dispatch kernel: a line of 13 episodes and nine calendars, and its multiples.

The line is that of the trade's rules of thumb (`tests.outside.weekly_line`), with hours of their
own for nine departments. A multiple has as many times the visits and the artists. SimPy plans the
same line in the same run, and comes to the same minutes; so does each copy of a multiple. The check
(`soundness.problem`) is part of every dispatch, and is timed in turn with it.
"""

from dataclasses import replace
from functools import partial
from math import log

import numpy as np

from service.planning.board.board import make_board
from service.planning.board.posing import make_line
from service.planning.kernel.dispatch import dispatch, warm
from service.planning.kernel.line import Line, Ranking
from service.planning.kernel.soundness import problem
from service.planning.plan.schedule import schedule
from service.production.state import State
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.benchmarks.figures import (
    Figure,
    Size,
    best_in_turn_s,
    best_s,
    no_collector,
    took_s,
)
from tests.outside.simulator import simulate
from tests.outside.weekly_line import LINE, NOW, line_story

EPISODES = 13
MULTIPLES = (1, 4, 14, 46)
"""Of some 22,000 visits, up to a million."""

WEEK = ["monday", "tuesday", "wednesday", "thursday", "friday"]
NOW_MIN = parse_instant(NOW) // US_PER_MIN


def measure(size: Size) -> list[Figure]:
    """Visits a second, beside SimPy; how the time grows; the passes around the kernel."""
    warm()
    state = line_state(size.of(EPISODES, 2))
    board = make_board(state)
    line = make_line(board, NOW_MIN)
    visits = len(line.key)
    grown = {k: multiplied(line, k) for k in (MULTIPLES if size.part == 1 else MULTIPLES[:2])}
    most = max(grown)
    with no_collector():
        plan = dispatch(line)
        kernel_s, check_s = best_in_turn_s(partial(dispatch, line), partial(problem, line), 20)
        simulated = simulate(line)
        simpy_s = took_s(lambda: simulate(line))
        whole_s = best_s(lambda: schedule(board, NOW_MIN), 10)
        times_s = {k: best_s(partial(dispatch, one), 3) for k, one in grown.items()}
        most_s, check_of_most_s = best_in_turn_s(
            partial(dispatch, grown[most]), partial(problem, grown[most]), 3
        )
        hours_s = best_s(lambda: replace(line.hours), 5)
    assert simulated.start == plan.start.tolist()
    assert simulated.finish == plan.finish.tolist()
    for k, one in grown.items():
        many = dispatch(one)
        assert np.array_equal(many.start, np.tile(plan.start, k))
        assert np.array_equal(many.finish, np.tile(plan.finish, k))
    return [
        Figure("visits of the line", visits, "visits"),
        Figure(
            "dispatch", visits / kernel_s, "visits/s", simpy_s / kernel_s, "SimPy, the same line"
        ),
        Figure("the check in it", check_s * 1e6, "us", check_s / kernel_s, "the dispatch it is in"),
        Figure("hours, checked once", hours_s * 1e6, "us", hours_s / kernel_s, "dispatch alone"),
        Figure("schedule whole", whole_s * 1000, "ms", whole_s / kernel_s, "dispatch alone"),
        Figure("the largest multiple", most * visits, "visits"),
        Figure(
            "dispatch of it", times_s[most], "s", times_s[most] / times_s[1] / most, "linear growth"
        ),
        Figure(
            "the check in that",
            check_of_most_s * 1000,
            "ms",
            check_of_most_s / most_s,
            "the dispatch",
        ),
        Figure("exponent of time over visits", exponent(times_s), ""),
    ]


def line_state(episodes: int) -> State:
    """The line with hours of their own for the departments that work by scene."""
    story = line_story(episodes=episodes)
    for number, name in enumerate(d.name for d in LINE if d.grain == "scene"):
        opens_min = 7 * 60 + 15 * number
        halves = ((opens_min, opens_min + 240), (opens_min + 285, opens_min + 525))
        shifts = [{"days": WEEK, "opens": clock(a), "closes": clock(b)} for a, b in halves]
        hours = {"from_on": "2031-01-01", "department": name, "shifts": shifts}
        story.tell("calendar.set", "studio", hours | {"days_off": [f"2031-02-{3 + number:02d}"]})
    return story.state


def clock(minutes: int) -> str:
    """A wall time."""
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def multiplied(line: Line, times: int) -> Line:
    """The line side by side with itself, at the same departments with so many times the artists.

    Each copy is planned as the line is, to the minute: of rows that start together the copies do.
    """
    visits, arcs = len(line.key), len(line.successor)
    copies = np.arange(times)
    # a key's place among all, since the keys themselves have no bits left
    place = np.argsort(line.ranking.order)
    successors = (line.successor + copies[:, None] * visits).ravel()
    ends = (line.successor_from[1:] + copies[:, None] * arcs).ravel()
    return replace(
        line,
        department=np.tile(line.department, times),
        state=np.tile(line.state, times),
        work_e4=np.tile(line.work_e4, times),
        started_min=np.tile(line.started_min, times),
        release_min=np.tile(line.release_min, times),
        ranking=Ranking((place * times + copies[:, None]).ravel()),
        successor=successors.astype(np.int32),
        successor_from=np.concatenate(([0], ends)).astype(np.int32),
        crews=replace(line.crews, crew_artists=line.crews.crew_artists * np.int32(times)),
    )


def exponent(times_s: dict[int, float]) -> float:
    """Of the power that fits the times best (least squares of the logarithms)."""
    if len(times_s) < 2:
        return 1.0
    sizes = [log(size) for size in times_s]
    return float(np.polyfit(sizes, [log(taken) for taken in times_s.values()], 1)[0])
