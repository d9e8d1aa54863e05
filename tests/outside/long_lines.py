"""Long lines for the kernel: random scenes through departments in a row, in arrays."""

from typing import NamedTuple

import numpy as np

from service.planning.kernel.dispatch import dispatch
from service.planning.kernel.line import MINUTE_LAST, Crews, Hours, Line, Ranking
from service.vocabulary.calendar import NEVER

MEAN_MIN = 1_000

Minutes = np.ndarray[tuple[int], np.dtype[np.int64]]


class Station(NamedTuple):
    """What happened at one department: by scene, in order of the tray, in minutes."""

    arrived: Minutes
    started: Minutes
    finished: Minutes


def planned(
    arrived: Minutes, services: list[Minutes], artists: list[int], rank: Minutes | None = None
) -> list[Station]:
    """Scenes through departments in a row, always open, as the kernel plans them."""
    n, departments = len(arrived), len(services)
    rows, each = n * departments, np.arange(departments + 1, dtype=np.int32)
    none = np.zeros(departments, np.int64)
    handed_on = rows - n
    line = Line(
        department=np.repeat(each[:-1], n),
        state=np.zeros(rows, np.int8),
        work_e4=np.concatenate(services) * 10_000,
        started_min=np.zeros(rows, np.int64),
        release_min=np.concatenate([arrived, np.zeros(handed_on, np.int64)]),
        ranking=Ranking(np.tile(np.arange(n) if rank is None else rank, departments)),
        successor_from=np.minimum(np.arange(rows + 1), handed_on).astype(np.int32),
        successor=np.arange(n, rows, dtype=np.int32),
        hours=Hours(each, none, none + MINUTE_LAST, none),
        crews=Crews(each, none, np.array(artists, np.int32), none + 10_000, none + 1),
        now_min=0,
    )
    plan = dispatch(line)
    assert plan.finish.max() < NEVER, "the run is longer than the calendar"
    stations = []
    for first in range(0, rows, n):
        started, finished = plan.start[first : first + n], plan.finish[first : first + n]
        stations.append(Station(arrived, started, finished))
        arrived = finished
    return stations


def arrivals(random: np.random.Generator, n: int, lam: float) -> Minutes:
    gaps = random.exponential(MEAN_MIN / lam, n)
    return np.rint(np.cumsum(gaps)).astype(np.int64)


def exponential(random: np.random.Generator, n: int, mean: float = 1.0) -> Minutes:
    return np.maximum(1, np.rint(random.exponential(mean * MEAN_MIN, n))).astype(np.int64)


def present_times(station: Station) -> tuple[Minutes, Minutes]:
    """How long how many were present: minutes and numbers, step by step."""
    at = np.concatenate([station.arrived, station.finished])
    change = np.repeat(np.array([1, -1]), len(station.arrived))
    order = np.argsort(at, kind="stable")
    return np.diff(at[order], append=at[order[-1]]), np.cumsum(change[order])
