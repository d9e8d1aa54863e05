"""L = lambda W, to the minute: J. D. C. Little, A proof for the queuing formula, 1961.

On a run that starts and ends empty it is an identity between whole numbers: the minutes that
scenes spend somewhere, summed over scenes, are the scenes that are there, summed over minutes. It
holds in any order of the tray, so here the order is random.

The numbers present are counted from arrivals and finishes alone. Since nobody idles while a scene
waits, they say how many are busy, and so the starts and the work done must fit them.
"""

from typing import NamedTuple

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from service.planning.kernel.dispatch import dispatch
from service.vocabulary.calendar import WorkingTime
from tests.outside.long_lines import (
    Minutes,
    Station,
    arrivals,
    exponential,
    planned,
    present_times,
)
from tests.planning.lines import Crew, Department, Row, line_of
from tests.properties import tried

END_MIN = 20_000


def test_littles_law_holds_on_a_long_run() -> None:
    n, artists = 1_000_000, 3
    random = np.random.default_rng(1961)
    arrived, services = arrivals(random, n, 2.7), exponential(random, n)
    (station,) = planned(arrived, [services], [artists], rank=random.permutation(n))
    minutes, present = present_times(station)
    assert int((station.finished - arrived).sum()) == int(minutes @ present)
    assert int((station.started - arrived).sum()) == int(minutes @ np.maximum(present - artists, 0))
    assert int(services.sum()) == int(minutes @ np.minimum(present, artists))


class Desks(NamedTuple):
    """A department: artists, the work of each scene in minutes, when it is open."""

    artists: int
    works_min: list[int]
    open: WorkingTime


@st.composite
def shifts(draw: st.DrawFn) -> WorkingTime:
    """Always open, or some minutes of every so many."""
    if draw(st.booleans()):
        return WorkingTime.of([(0, END_MIN)])
    worked, off, begins = draw(st.tuples(st.integers(1, 20), st.integers(1, 20), st.integers(0, 9)))
    return WorkingTime.of((at, at + worked) for at in range(begins, END_MIN, worked + off))


@st.composite
def in_a_row(draw: st.DrawFn) -> tuple[list[int], list[Desks]]:
    """When scenes come, and up to three departments that each of them passes."""
    releases = draw(st.lists(st.integers(0, 60), min_size=1, max_size=12))
    works = st.lists(st.integers(1, 20), min_size=len(releases), max_size=len(releases))
    desks = st.builds(Desks, st.integers(1, 4), works, shifts())
    return releases, draw(st.lists(desks, min_size=1, max_size=3))


def stations_of(releases: list[int], row: list[Desks], ranks: list[int]) -> list[Station]:
    """What the kernel plans of them, by department."""
    scenes = len(releases)
    rows = [
        Row(
            department=d,
            work_e4=desks.works_min[scene] * 10_000,
            after=[(d - 1) * scenes + scene] if d else [],
            release_min=0 if d else releases[scene],
            key=ranks[d * scenes + scene],
        )
        for d, desks in enumerate(row)
        for scene in range(scenes)
    ]
    departments = [Department([Crew(desks.artists)], desks.open) for desks in row]
    plan = dispatch(line_of(departments, rows))
    start, finish = plan.start.reshape(-1, scenes), plan.finish.reshape(-1, scenes)
    arrived = np.vstack([np.array(releases), finish[:-1]])
    return [Station(*station) for station in zip(arrived, start, finish, strict=True)]


def present_by_minute(station: Station) -> Minutes:
    at = np.arange(END_MIN)
    come = np.sort(station.arrived).searchsorted(at, "right")
    gone = np.sort(station.finished).searchsorted(at, "right")
    return come - gone


@tried(50)
@given(in_a_row(), st.data())
def test_littles_law_holds_at_every_department_and_in_the_line(
    line: tuple[list[int], list[Desks]], data: st.DataObject
) -> None:
    releases, row = line
    ranks = data.draw(st.permutations(range(len(releases) * len(row))), label="ranks")
    stations = stations_of(releases, row, ranks)
    assert stations[-1].finished.max() < END_MIN
    in_line = np.zeros(END_MIN, np.int64)
    for desks, station in zip(row, stations, strict=True):
        present = present_by_minute(station)
        is_open = np.zeros(END_MIN, np.int64)
        for begins, ends in zip(desks.open.starts, desks.open.ends, strict=True):
            is_open[begins:ends] = 1
        opened = np.concatenate([[0], np.cumsum(is_open)])
        in_tray_min = opened[station.started] - opened[station.arrived]
        assert in_tray_min.sum() == (is_open * np.maximum(present - desks.artists, 0)).sum()
        assert sum(desks.works_min) == (is_open * np.minimum(present, desks.artists)).sum()
        in_line += present
    assert (stations[-1].finished - stations[0].arrived).sum() == in_line.sum()
