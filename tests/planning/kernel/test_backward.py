from dataclasses import replace
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.kernel.backward import EARLIEST_MIN, latest
from service.planning.kernel.dispatch import dispatch, warm
from service.planning.kernel.line import (
    DAY_MIN_MOST,
    ON_DESK,
    OUT,
    WAITING,
    WORK_E4_MOST,
    BrokenLineError,
    Int64s,
    Line,
    Plan,
)
from service.vocabulary.calendar import NEVER, WorkingTime
from tests.planning.lines import ALWAYS, Crew, Department, Row, durations, line_of, lines
from tests.properties import tried

DAYS = WorkingTime.of([(100, 110), (200, 210), (300, 310)])


@pytest.fixture(autouse=True, scope="module")
def _compiled() -> None:
    warm()


def late(line: Line, due_min: list[int]) -> list[int]:
    finish: list[int] = latest(line, dispatch(line), np.array(due_min, dtype=np.int64)).tolist()
    return finish


# --- against a longest path ------------------------------------------------------------------


@st.composite
def always_open(draw: st.DrawFn) -> tuple[Line, list[int]]:
    """Rows in any order, arcs without circles, work in whole minutes, one due minute or more."""
    n = draw(st.integers(1, 30))
    order = draw(st.permutations(range(n)))
    place = {row: at for at, row in enumerate(order)}
    rows = []
    for row in range(n):
        earlier = [other for other in range(n) if place[other] < place[row]]
        before = st.sampled_from(earlier) if earlier else st.nothing()
        after = draw(st.lists(before, max_size=3)) if earlier else []
        rows.append(Row(work_e4=draw(st.integers(1, 50)) * 10_000, after=after))
    line = line_of([Department([Crew(draw(st.integers(1, 40)))])], rows)
    due = st.one_of(st.just(NEVER), st.just(NEVER), st.integers(500_000, 500_100))
    return line, draw(st.lists(due, min_size=n, max_size=n))


@given(always_open())
def test_the_latest_finish_is_the_due_minute_less_the_longest_path(
    case: tuple[Line, list[int]],
) -> None:
    line, due = case
    n = len(due)
    graph: Any = nx.DiGraph()
    graph.add_nodes_from([*range(n), "due"])
    for row in range(n):
        for after in line.successor[line.successor_from[row] : line.successor_from[row + 1]]:
            graph.add_edge(row, int(after), weight=int(line.work_e4[after]) // 10_000)
        if due[row] < NEVER:
            graph.add_edge(row, "due", weight=1_000_000 - due[row])
    for row, latest_min in enumerate(late(line, due)):
        reach = graph.subgraph(
            {row, "due"} | (nx.descendants(graph, row) & nx.ancestors(graph, "due"))
        )
        if nx.has_path(graph, row, "due"):
            assert latest_min == 1_000_000 - nx.dag_longest_path_length(reach)
        else:
            assert latest_min == NEVER


# --- against the definition, with shifts, crews, holds and desks -------------------------------


def working_time_of(line: Line, d: int) -> WorkingTime:
    h = line.hours
    span = slice(h.window_from[d], h.window_from[d + 1])
    windows = zip(h.window_start[span].tolist(), h.window_end[span].tolist(), strict=True)
    return WorkingTime.of(windows)


@tried(50)
@given(lines(), st.data())
def test_the_latest_finish_meets_what_is_due_and_no_later_one_would(
    line: Line, data: st.DataObject
) -> None:
    n = len(line.state)
    plan = dispatch(line)
    due = [data.draw(st.one_of(st.just(NEVER), st.integers(0, 400))) for _ in range(n)]
    finish = latest(line, plan, np.array(due, dtype=np.int64)).tolist()
    takes = durations(line, plan).tolist()
    for row in range(n):
        if line.state[row] == OUT:
            assert finish[row] == NEVER
            continue
        after = line.successor[line.successor_from[row] : line.successor_from[row + 1]]
        starts = [
            working_time_of(line, line.department[later]).subtract(finish[later], takes[later])
            for later in after
            if line.state[later] != OUT
        ]
        assert finish[row] == min([due[row], *starts])


@tried(50)
@given(lines())
def test_durations_are_those_of_the_plan(line: Line) -> None:
    plan = dispatch(line)
    for row, minutes in enumerate(durations(line, plan).tolist()):
        worked = working_time_of(line, line.department[row])
        start = line.now_min if line.state[row] == ON_DESK else int(plan.start[row])
        if line.state[row] == OUT:
            assert minutes == 0
        elif plan.finish[row] < NEVER:
            assert worked.add(start, minutes) == plan.finish[row]
        else:
            assert minutes >= 1


# --- rule by rule ----------------------------------------------------------------------------


def test_float_is_kept_through_a_split_and_a_join() -> None:
    rows = [
        Row(0, 20_000),
        Row(1, 50_000, after=[0]),
        Row(2, 30_000, after=[0]),
        Row(0, 10_000, after=[1, 2]),
    ]
    line = line_of([Department()] * 3, rows)
    assert late(line, [NEVER, NEVER, NEVER, 10]) == [4, 9, 9, 10]


def test_each_department_counts_back_in_its_own_hours() -> None:
    line = line_of([Department(), Department([Crew(1)], DAYS)], [Row(0), Row(1, 40_000, after=[0])])
    # Four working minutes before 302: two on the third day, two at the end of the second.
    assert late(line, [NEVER, 302]) == [208, 302]
    # Due in the night: the last minute of the evening before.
    assert late(line, [NEVER, 250]) == [206, 250]


def test_crews_do_not_count() -> None:
    rows = [Row(), Row(), Row(1, after=[0, 1])]
    line = line_of([Department(), Department()], rows)
    assert late(line, [NEVER, NEVER, 10]) == [9, 9, 10]


def test_the_rate_is_that_of_the_planned_start() -> None:
    crews = [Crew(1), Crew(1, at_min=10, rate_e4=20_000)]
    rows = [Row(work_e4=100_000), Row(work_e4=100_000, after=[0])]
    line = line_of([Department(crews)], rows)
    assert late(line, [NEVER, 50]) == [45, 50]


def test_what_is_on_a_desk_takes_its_remainder() -> None:
    rows = [Row(1), Row(0, 100_000, after=[0], state=ON_DESK, started_min=0)]
    line = line_of([Department(), Department()], rows, now_min=7)
    assert late(line, [NEVER, 20]) == [17, 20]


def test_an_own_due_minute_and_what_is_out() -> None:
    rows = [Row(), Row(after=[0]), Row(after=[0], state=OUT), Row(after=[2])]
    line = line_of([Department()], rows)
    assert late(line, [5, 40, 1, 3]) == [5, 40, NEVER, 3]
    assert late(line, [50, 40, 1, 3]) == [39, 40, NEVER, 3]
    assert late(line, [NEVER] * 4) == [NEVER] * 4


def test_rows_that_cannot_start_have_a_latest_finish_too() -> None:
    crews = [Crew(0, rate_e4=0), Crew(0, at_min=3, rate_e4=20_000)]
    rows = [Row(), Row(1, 100_000, after=[0], release_min=NEVER), Row(2, after=[1])]
    line = line_of([Department(), Department(crews), Department([])], rows)
    assert late(line, [NEVER, NEVER, 100]) == [94, 99, 100]


def test_what_is_late_already_stays_finite_and_in_order() -> None:
    line = line_of([Department([Crew(1)], DAYS)], [Row(), Row(work_e4=150_000, after=[0])])
    assert late(line, [NEVER, 105]) == [90, 105]


def test_open_rows_in_a_circle_are_a_fault() -> None:
    # what is on a desk waits for nothing, so that there is a plan, but nothing says how late it is
    rows = [Row(), Row(after=[0, 2], state=ON_DESK), Row(after=[1])]
    line = line_of([Department()], rows)
    plan = dispatch(line)
    with pytest.raises(BrokenLineError, match=r"waits for itself, by rows 1, 2$") as raised:
        latest(line, plan, np.array([NEVER, 9, NEVER]))
    assert (raised.value.array, raised.value.row) == ("successor", 1)
    out = replace(line, state=np.array([WAITING, OUT, WAITING], np.int8))
    assert latest(out, dispatch(out), np.array([NEVER, 9, 8])).tolist() == [NEVER, NEVER, 8]


@pytest.mark.parametrize("worked", [ALWAYS, DAYS, WorkingTime.of([])])
def test_the_longest_work_one_behind_the_other_does_not_overflow(worked: WorkingTime) -> None:
    longest = Department([Crew(1, rate_e4=1, day_min=DAY_MIN_MOST)], worked)
    rows = [Row(work_e4=WORK_E4_MOST, after=[row - 1] if row else ()) for row in range(9)]
    line = line_of([longest], rows)
    plan = dispatch(line)
    assert durations(line, plan).tolist() == [WORK_E4_MOST * DAY_MIN_MOST] * 9
    assert set(plan.finish.tolist()) == {NEVER}
    assert late(line, [NEVER] * 8 + [9]) == [EARLIEST_MIN] * 8 + [9]


def test_what_is_due_and_planned_must_be_there_for_each_row() -> None:
    line = line_of([Department()], [Row(), Row(after=[0])])
    plan = dispatch(line)
    for due in ([9], [9, 9, 9]):
        with pytest.raises(BrokenLineError, match=f"due_min: {len(due)} entries for 2 rows"):
            latest(line, plan, np.array(due))
    with pytest.raises(BrokenLineError, match=r"due_min of row 1: -\d+ is not between"):
        latest(line, plan, np.array([9, -NEVER - 1]))
    short = Plan(plan.start[:1], plan.finish, plan.bound, plan.bound_row)
    with pytest.raises(BrokenLineError, match="start: 1 entries for 2 rows"):
        latest(line, short, np.array([9, 9]))


def test_a_plan_may_be_read_only() -> None:
    line = line_of([Department()], [Row(), Row(after=[0])])
    plan = dispatch(line)
    frozen: list[Int64s] = [plan.start.copy(), plan.finish.copy(), np.array([NEVER, 9])]
    for array in frozen:
        array.setflags(write=False)
    again = Plan(frozen[0], frozen[1], plan.bound, plan.bound_row)
    assert latest(line, again, frozen[2]).tolist() == [8, 9]
