"""Lines for tests: written out by hand from rows, or drawn at random by hypothesis."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from hypothesis import strategies as st

from service.planning.kernel.line import (
    ON_DESK,
    OUT,
    WAITING,
    Crews,
    Hours,
    Int64s,
    Line,
    Plan,
    Ranking,
)
from service.planning.kernel.minutes import row_durations
from service.planning.kernel.soundness import problem
from service.vocabulary.calendar import NEVER, WorkingTime

ALWAYS = WorkingTime.of([(0, 1_000_000)])


@dataclass(frozen=True)
class Crew:
    """A segment; by default a unit of work takes a minute."""

    artists: int
    at_min: int = 0
    rate_e4: int = 10_000
    day_min: int = 1


@dataclass(frozen=True)
class Department:
    crews: Sequence[Crew] = (Crew(1),)
    worked: WorkingTime = ALWAYS


@dataclass(frozen=True)
class Row:
    department: int = 0
    work_e4: int = 10_000
    after: Sequence[int] = field(default_factory=tuple)
    state: int = WAITING
    started_min: int = 0
    release_min: int = 0
    key: int | None = None


def line_of(departments: Sequence[Department], rows: Sequence[Row], now_min: int = 0) -> Line:
    """A `Line` of rows that name their predecessors; the key is the row's number by default."""
    after: list[list[int]] = [[] for _ in rows]
    for number, row in enumerate(rows):
        for before in row.after:
            after[before].append(number)
    crews = [crew for department in departments for crew in department.crews]

    def counted(lengths: Sequence[int]) -> np.ndarray[tuple[int], np.dtype[np.int32]]:
        return np.array([0, *np.cumsum(lengths, dtype=np.int64)], dtype=np.int32)

    def joined(name: str) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        return np.concatenate([getattr(department.worked, name) for department in departments])

    return Line(
        department=np.array([row.department for row in rows], dtype=np.int32),
        state=np.array([row.state for row in rows], dtype=np.int8),
        work_e4=np.array([row.work_e4 for row in rows], dtype=np.int64),
        started_min=np.array([row.started_min for row in rows], dtype=np.int64),
        release_min=np.array([row.release_min for row in rows], dtype=np.int64),
        ranking=Ranking(
            np.array([n if r.key is None else r.key for n, r in enumerate(rows)], dtype=np.int64)
        ),
        successor_from=counted([len(rows) for rows in after]),
        successor=np.array([row for rows in after for row in rows], dtype=np.int32),
        hours=Hours(
            window_from=counted([len(department.worked.starts) for department in departments]),
            window_start=joined("starts"),
            window_end=joined("ends"),
            window_before=joined("cumulative"),
        ),
        crews=Crews(
            crew_from=counted([len(department.crews) for department in departments]),
            crew_at_min=np.array([crew.at_min for crew in crews], dtype=np.int64),
            crew_artists=np.array([crew.artists for crew in crews], dtype=np.int32),
            crew_rate_e4=np.array([crew.rate_e4 for crew in crews], dtype=np.int64),
            crew_day_min=np.array([crew.day_min for crew in crews], dtype=np.int64),
        ),
        now_min=now_min,
    )


HORIZON_MIN = 240


@st.composite
def working_times(draw: st.DrawFn) -> WorkingTime:
    """Always open, or shifts of some minutes with gaps, which may end before the work does."""
    if draw(st.booleans()):
        return WorkingTime.of([(0, HORIZON_MIN)])
    windows, at = [], draw(st.integers(0, 30))
    for gap, length in draw(
        st.lists(st.tuples(st.integers(1, 15), st.integers(1, 20)), max_size=10)
    ):
        windows.append((at, at + length))
        at += length + gap
    return WorkingTime.of(windows)


@st.composite
def departments(draw: st.DrawFn) -> Department:
    """1 to 40 artists; crews that begin late, change, shrink, vanish or have no rate for a time."""
    few = st.integers(1, 3)
    artists = st.one_of(few, few, st.integers(0, 40))
    begins = draw(st.one_of(st.just(0), st.integers(0, 60)))
    changes = draw(st.lists(st.integers(1, 120), max_size=3, unique=True))
    crews = [
        Crew(
            draw(artists),
            at_min,
            draw(st.one_of(st.integers(1, 30_000), st.just(10_000), st.just(0))),
            draw(st.integers(1, 8)),
        )
        for at_min in [begins, *sorted(begins + change for change in changes)]
    ]
    return Department(
        draw(st.sampled_from([crews, crews, crews, crews[:1], []])), draw(working_times())
    )


@st.composite
def lines(draw: st.DrawFn, rows_max: int = 24) -> Line:
    """Splits, joins, ties, holds, rows on desks and out; arcs go from lower to higher rows."""
    desks = draw(st.lists(departments(), min_size=1, max_size=4))
    now_min = draw(st.integers(0, 50))
    n = draw(st.integers(1, rows_max))
    keys = draw(st.permutations(range(n)))
    rows = []
    for number in range(n):
        state = draw(st.sampled_from([WAITING] * 6 + [ON_DESK, OUT]))
        before = st.integers(0, number - 1) if number else st.nothing()
        release = st.one_of(st.just(0), st.just(0), st.integers(0, 120), st.just(NEVER))
        rows.append(
            Row(
                department=draw(st.integers(0, len(desks) - 1)),
                work_e4=draw(st.one_of(st.integers(0, 60_000), st.sampled_from([10_000, 50_000]))),
                after=draw(st.lists(before, max_size=3)) if number else (),
                state=state,
                started_min=draw(st.integers(0, now_min)) if state == ON_DESK else 0,
                release_min=draw(release),
                key=keys[number] - 7,
            )
        )
    return line_of(desks, rows, now_min)


def durations(line: Line, plan: Plan) -> Int64s:
    """Working minutes (n) each row takes at its planned start's rate, or has left on a desk."""
    p = problem(line)
    minutes = np.zeros(len(p.state), np.int64)
    row_durations(p, plan.start, line.now_min, minutes)
    return minutes
