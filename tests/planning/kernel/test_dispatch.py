import json
import os
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given

from service.planning.kernel.dispatch import dispatch, warm
from service.planning.kernel.line import (
    BOUND_ARTIST,
    BOUND_CALENDAR,
    BOUND_NOW,
    BOUND_PREDECESSOR,
    BOUND_RELEASE,
    ON_DESK,
    OUT,
    WAITING,
    BrokenLineError,
    Line,
)
from service.vocabulary.calendar import NEVER, WorkingTime
from tests.planning.lines import Crew, Department, Row, line_of, lines
from tests.planning.naive import desks_of, simulate
from tests.properties import tried

DAYS = WorkingTime.of([(100, 110), (200, 210), (300, 310)])


@pytest.fixture(autouse=True, scope="module")
def _compiled() -> None:
    warm()


def planned(line: Line) -> list[tuple[int, int]]:
    plan = dispatch(line)
    return list(zip(plan.start.tolist(), plan.finish.tolist(), strict=True))


def bounds(line: Line) -> list[tuple[int, int]]:
    plan = dispatch(line)
    return list(zip(plan.bound.tolist(), plan.bound_row.tolist(), strict=True))


# --- against the simulation ------------------------------------------------------------------


@tried(125)
@given(lines())
def test_the_plan_is_that_of_a_minute_by_minute_simulation(line: Line) -> None:
    plan = dispatch(line)
    start, finish = simulate(line)
    assert plan.start.tolist() == start
    assert plan.finish.tolist() == finish


@tried(50)
@given(lines())
def test_the_rules_hold(line: Line) -> None:
    plan = dispatch(line)
    desks = desks_of(line)
    n = len(line.state)
    begun = [row for row in range(n) if line.state[row] == WAITING and plan.start[row] < NEVER]
    for row in begun:
        start, desk = int(plan.start[row]), desks[line.department[row]]
        assert start >= max(line.now_min, line.release_min[row])
        assert start in desk.minutes
        assert plan.finish[row] == NEVER or int(plan.finish[row]) - 1 in desk.minutes
        held = [
            other
            for other in range(n)
            if line.department[other] == line.department[row] and line.state[other] != OUT
            if plan.start[other] <= start < plan.finish[other]
        ]
        assert len(held) <= max(desk.crew(start)[1], 0)
    for before in range(n):
        for after in line.successor[line.successor_from[before] : line.successor_from[before + 1]]:
            if line.state[after] == WAITING and plan.start[after] < NEVER:
                assert plan.finish[before] <= plan.start[after]


@tried(50)
@given(lines())
def test_what_bound_a_start_is_there(line: Line) -> None:
    plan = dispatch(line)
    for row in range(len(line.state)):
        bound, by = int(plan.bound[row]), int(plan.bound_row[row])
        start = int(plan.start[row])
        assert (by >= 0) == (bound in (BOUND_PREDECESSOR, BOUND_ARTIST))
        if line.state[row] != WAITING:
            assert bound == BOUND_NOW
            continue
        if bound == BOUND_PREDECESSOR:
            successors = line.successor[line.successor_from[by] : line.successor_from[by + 1]]
            assert row in successors
            assert (plan.finish[by] == NEVER) == (start == NEVER) or plan.finish[by] <= start
        if start == NEVER:
            assert bound in (BOUND_PREDECESSOR, BOUND_CALENDAR, BOUND_RELEASE)
            continue
        worked = desks_of(line)[line.department[row]].minutes
        if by >= 0:
            # Nothing but closing hours lies between the cause and the start.
            assert not any(t in worked for t in range(int(plan.finish[by]), start))
        if bound == BOUND_ARTIST:
            assert line.department[by] == line.department[row]
        if bound == BOUND_NOW:
            assert start == line.now_min
        if bound == BOUND_RELEASE:
            assert not any(t in worked for t in range(int(line.release_min[row]), start))


@tried(50)
@given(lines())
def test_no_artist_frees_two(line: Line) -> None:
    plan = dispatch(line)
    freed = plan.bound_row[plan.bound == BOUND_ARTIST].tolist()
    assert len(freed) == len(set(freed))


# --- rule by rule ----------------------------------------------------------------------------


def test_the_smallest_key_starts_first() -> None:
    line = line_of([Department()], [Row(key=3), Row(key=-1), Row(key=2)])
    assert planned(line) == [(2, 3), (0, 1), (1, 2)]
    assert bounds(line) == [(BOUND_ARTIST, 2), (BOUND_NOW, -1), (BOUND_ARTIST, 1)]


def test_nothing_waits_for_a_visit_of_higher_priority_that_is_not_there() -> None:
    line = line_of([Department(), Department()], [Row(), Row(1, 30_000), Row(1, key=-5, after=[0])])
    assert planned(line) == [(0, 1), (0, 3), (3, 4)]


def test_finishes_and_arrivals_come_before_starts() -> None:
    # At minute 2 the artist of department 1 is freed and row 2 arrives; it has the smaller key.
    line = line_of(
        [Department(), Department()],
        [Row(0, 20_000), Row(1, 20_000), Row(1, key=-1, after=[0]), Row(1, key=7)],
    )
    assert planned(line)[2:] == [(2, 3), (3, 4)]


def test_a_join_waits_for_the_last_and_names_it() -> None:
    pair = [Row(0, 20_000), Row(1, 50_000), Row(2, after=[0, 1])]
    line = line_of([Department()] * 3, pair)
    assert planned(line)[2] == (5, 6)
    assert bounds(line)[2] == (BOUND_PREDECESSOR, 1)


def test_ties_of_causes_are_settled_by_row() -> None:
    # Rows 0 to 5 end in minute 2 and free six artists; 6 waits for 0 to 5, then 7 and 8 start.
    rows = [Row(0, 20_000)] * 6 + [Row(1, after=[3, 0, 5, 1]), Row(0, key=9), Row(0, key=8)]
    line = line_of([Department([Crew(6)]), Department()], rows)
    assert bounds(line)[6:] == [(BOUND_PREDECESSOR, 5), (BOUND_ARTIST, 1), (BOUND_ARTIST, 0)]


def test_work_becomes_whole_minutes_rounded_up_and_at_least_one() -> None:
    crew = Crew(9, rate_e4=60_000, day_min=480)
    rows = [Row(work_e4=10_000), Row(work_e4=10_001), Row(work_e4=0)]
    assert planned(line_of([Department([crew])], rows)) == [(0, 80), (0, 81), (0, 1)]


def test_a_finish_is_the_end_of_the_last_working_minute() -> None:
    rows = [Row(work_e4=100_000), Row(work_e4=110_000), Row(work_e4=210_000)]
    line = line_of([Department([Crew(3)], DAYS)], rows)
    assert planned(line) == [(100, 110), (100, 201), (100, 301)]
    assert bounds(line) == [(BOUND_CALENDAR, -1)] * 3


def test_what_does_not_end_within_the_windows_never_finishes_and_keeps_its_artist() -> None:
    line = line_of([Department([Crew(1)], DAYS)], [Row(work_e4=310_000), Row(), Row(after=[0])])
    assert planned(line) == [(100, NEVER), (NEVER, NEVER), (NEVER, NEVER)]
    assert bounds(line) == [(BOUND_CALENDAR, -1), (BOUND_CALENDAR, -1), (BOUND_PREDECESSOR, 0)]


def test_nothing_starts_before_now_or_its_release() -> None:
    rows = [Row(), Row(release_min=120), Row(release_min=NEVER), Row(after=[2])]
    line = line_of([Department([Crew(5)])], rows, now_min=105)
    assert planned(line) == [(105, 106), (120, 121), (NEVER, NEVER), (NEVER, NEVER)]
    assert bounds(line) == [
        (BOUND_NOW, -1), (BOUND_RELEASE, -1), (BOUND_RELEASE, -1), (BOUND_PREDECESSOR, 2),
    ]  # fmt: skip


def test_a_chain_of_causes_runs_on_through_the_night() -> None:
    # Row 0 fills the first day. Row 1 waited for its artist, row 2 for its hand-off; row 3 comes
    # from elsewhere in the night; row 4 was there and found the department closed.
    closed = WorkingTime.of([(0, 400)])
    rows = [
        Row(0, 100_000),
        Row(0, 10_000),
        Row(1, 10_000, after=[0]),
        Row(1, 10_000, after=[5]),
        Row(1, 10_000, release_min=150),
        Row(2, 1_400_000),
    ]
    desks = [
        Department([Crew(1)], DAYS),
        Department([Crew(9)], DAYS),
        Department([Crew(1)], closed),
    ]
    line = line_of(desks, rows, now_min=50)
    assert planned(line)[:5] == [(100, 110), (200, 201), (200, 201), (200, 201), (200, 201)]
    assert bounds(line)[:5] == [
        (BOUND_CALENDAR, -1),
        (BOUND_ARTIST, 0),
        (BOUND_PREDECESSOR, 0),
        (BOUND_PREDECESSOR, 5),
        (BOUND_RELEASE, -1),
    ]


def test_crew_changes_take_effect_before_starts_and_a_shrunk_crew_finishes() -> None:
    crews = [Crew(2), Crew(1, at_min=5), Crew(3, at_min=20)]
    rows = [Row(work_e4=100_000)] * 3 + [Row(work_e4=200_000)] * 3
    line = line_of([Department(crews)], rows)
    assert planned(line) == [(0, 10), (0, 10), (10, 20), (20, 40), (20, 40), (20, 40)]
    assert bounds(line)[3:] == [(BOUND_ARTIST, 2), (BOUND_CALENDAR, -1), (BOUND_CALENDAR, -1)]


def test_without_artists_or_rate_a_department_waits_for_the_next_segment() -> None:
    crews = [Crew(1, at_min=5, rate_e4=0), Crew(0, at_min=7), Crew(1, at_min=9)]
    assert planned(line_of([Department(crews)], [Row()])) == [(9, 10)]
    assert planned(line_of([Department([])], [Row()])) == [(NEVER, NEVER)]
    assert planned(line_of([Department([Crew(0)])], [Row()])) == [(NEVER, NEVER)]


def test_the_rate_is_that_of_the_start() -> None:
    crews = [Crew(1, rate_e4=10_000), Crew(1, at_min=5, rate_e4=20_000)]
    rows = [Row(work_e4=100_000), Row(work_e4=100_000)]
    assert planned(line_of([Department(crews)], rows)) == [(0, 10), (10, 15)]


def test_what_is_on_a_desk_goes_on_from_now_with_its_remainder() -> None:
    crews = [Crew(1, rate_e4=10_000), Crew(1, at_min=105, rate_e4=50_000)]
    desk = Row(work_e4=150_000, state=ON_DESK, started_min=103, after=[2])
    rows = [desk, Row(work_e4=50_000), Row(1, 990_000)]
    # 15 minutes at the rate of its start, 7 of them done by now; the input is still open.
    line = line_of([Department(crews, DAYS), Department()], rows, now_min=150)
    assert planned(line) == [(103, 208), (208, 209), (150, 249)]
    assert bounds(line) == [(BOUND_NOW, -1), (BOUND_ARTIST, 0), (BOUND_NOW, -1)]


def test_an_overdue_desk_ends_in_its_next_working_minute() -> None:
    desk = Row(work_e4=10_000, state=ON_DESK, started_min=100)
    assert planned(line_of([Department([Crew(1)], DAYS)], [desk], now_min=150)) == [(100, 201)]


def test_a_desk_without_a_rate_takes_the_next_and_else_the_last() -> None:
    desk = Row(work_e4=100_000, state=ON_DESK, started_min=5)
    later = [Crew(1, at_min=9, rate_e4=20_000)]
    earlier = [Crew(1), Crew(1, at_min=2, rate_e4=50_000), Crew(1, at_min=3, rate_e4=0)]
    assert planned(line_of([Department(later)], [desk], now_min=6)) == [(5, 10)]
    assert planned(line_of([Department(earlier)], [desk], now_min=6)) == [(5, 7)]
    assert planned(line_of([Department([])], [desk, Row()], now_min=6)) == [
        (5, NEVER), (NEVER, NEVER),
    ]  # fmt: skip


def test_more_on_desks_than_artists_is_taken_as_it_is() -> None:
    desk = Row(work_e4=50_000, state=ON_DESK, started_min=0)
    line = line_of([Department([Crew(1)])], [desk, desk, Row()], now_min=2)
    assert planned(line) == [(0, 5), (0, 5), (5, 6)]


def test_rows_that_are_out_hold_nothing_up() -> None:
    line = line_of([Department()], [Row(state=OUT), Row(after=[0])])
    assert planned(line) == [(-1, -1), (0, 1)]


def test_rows_that_wait_for_each_other_in_a_circle_are_a_fault() -> None:
    # row 4 stands behind the circle, row 1 before it never ends
    rows = [Row(), Row(release_min=NEVER), Row(after=[1, 3]), Row(after=[2]), Row(after=[3])]
    with pytest.raises(BrokenLineError, match=r"waits for itself, by rows 2, 3$") as raised:
        dispatch(line_of([Department()], rows))
    assert (raised.value.array, raised.value.row) == ("successor", 2)
    with pytest.raises(BrokenLineError, match=r"by rows 0$"):
        dispatch(line_of([Department()], [Row(after=[0])]))


def test_what_never_starts_for_another_reason_is_no_circle() -> None:
    rows = [Row(release_min=NEVER), Row(after=[0]), Row(1, after=[1]), Row(1), Row(after=[0, 3])]
    assert [start for start, _ in planned(line_of([Department(), Department([])], rows))] == [
        NEVER
    ] * 5


def test_a_circle_through_what_is_on_a_desk_or_out_holds_nothing_up() -> None:
    rows = [
        Row(after=[1], state=ON_DESK),
        Row(after=[0]),
        Row(after=[3], state=OUT),
        Row(after=[2]),
    ]
    assert planned(line_of([Department([Crew(3)])], rows)) == [(0, 1), (1, 2), (-1, -1), (0, 1)]


def test_an_empty_line_has_an_empty_plan() -> None:
    assert planned(line_of([Department()], [])) == []


def test_a_long_visit_ends_in_the_right_one_of_many_windows() -> None:
    days = WorkingTime.of([(day * 1440 + 540, day * 1440 + 1020) for day in range(1000)])
    works = [480 * count + extra for count in range(1, 70) for extra in (-1, 0, 1)]
    works += [77_777, 479_999, 480_000]
    rows = [Row(work_e4=work * 10_000) for work in works]
    line = line_of([Department([Crew(len(rows))], days)], rows)
    assert planned(line) == [(540, days.add(0, work)) for work in works]


# --- as it is called -------------------------------------------------------------------------


def test_arrays_of_other_types_and_read_only_ones_give_the_same_plan() -> None:
    line = line_of([Department()], [Row(), Row(after=[0])])
    wider = {
        name: getattr(line, name).astype(np.int64)
        for name in ("department", "state", "successor_from", "successor")
    }
    hours = replace(line.hours, window_from=line.hours.window_from.astype(np.int64))
    crews = replace(line.crews, crew_artists=line.crews.crew_artists.astype(np.int64))
    every_other = np.repeat(line.work_e4, 2)[::2]
    other = replace(line, **wider, hours=hours, crews=crews, work_e4=every_other)
    other.work_e4.setflags(write=False)
    assert planned(other) == planned(line)


UNCOMPILED = """
import json
import numpy as np
from numba import config
from tests.planning.kernel.test_dispatch import mixed_line
from service.planning.kernel.backward import latest
from service.planning.kernel.dispatch import dispatch, warm
from service.vocabulary.calendar import NEVER
warm()
line = mixed_line()
plan = dispatch(line)
due = np.minimum(plan.finish + 40, NEVER)
rows = [plan.start, plan.finish, plan.bound, plan.bound_row, latest(line, plan, due)]
print(json.dumps([bool(config.DISABLE_JIT), [column.tolist() for column in rows]]))
"""


def mixed_line() -> Line:
    """Two dozen rows over three departments with every kind of row and of change."""
    crews = [Crew(2, rate_e4=7_000), Crew(1, at_min=104, rate_e4=9_000), Crew(3, at_min=205)]
    desks = [Department(crews, DAYS), Department([Crew(2)], DAYS), Department([Crew(1)])]
    rows = [
        Row(
            department=number % 3,
            work_e4=3_000 + 7_919 * number % 40_000,
            after=[number - 1, number // 2] if number % 4 else (),
            state={5: ON_DESK, 7: OUT}.get(number, WAITING),
            started_min=102,
            release_min=130 if number == 8 else 0,
            key=-number,
        )
        for number in range(24)
    ]
    return line_of(desks, rows, now_min=103)


def test_the_plan_is_the_same_without_compilation() -> None:
    def outcome(disable: str) -> list[object]:
        kept = {name: value for name, value in os.environ.items() if not name.startswith("NUMBA_")}
        environment = {**kept, "NUMBA_DISABLE_JIT": disable}  # compiled as users have it
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", UNCOMPILED],
            env=environment, capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        answer: list[object] = json.loads(done.stdout)
        return answer

    uncompiled, compiled = outcome("1"), outcome("0")
    assert (uncompiled[0], compiled[0]) == (True, False)
    assert uncompiled[1] == compiled[1]
    start, finish = simulate(mixed_line())
    assert compiled[1][:2] == [start, finish]  # type: ignore[index]  # from JSON
