"""What is overdue, held against a count of every working minute."""

from random import Random

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import make_board
from service.planning.kernel.dispatch import dispatch
from service.planning.kernel.line import ON_DESK, Line
from service.planning.plan.overdue import overdue_since
from service.planning.plan.schedule import schedule
from service.production.route import APPROVAL
from service.production.work import crew_at, elapsed_min
from service.vocabulary.calendar import NEVER, WorkingTime
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.planning.lines import Crew, Department, Row, line_of, lines
from tests.planning.naive import Desk, desks_of, duration
from tests.planning.random_states import states_at_random
from tests.properties import tried

DAYS = WorkingTime.of([(100, 110), (200, 210), (300, 310)])


def counted(line: Line, desk: Desk, row: int) -> int:
    """The end of a row's last working minute if it is over; -1 if not."""
    started = int(line.started_min[row])
    earlier = [segment for segment in desk.crews if segment[0] <= started]
    later = [segment for segment in desk.crews if segment[0] > started]
    for _, _, rate_e4, day_min in earlier[-1:] + later + earlier[::-1]:
        if rate_e4 > 0:
            worked = sorted(t for t in desk.minutes if started <= t < line.now_min)
            wanted = duration(int(line.work_e4[row]), rate_e4, day_min)
            return worked[wanted - 1] + 1 if len(worked) >= wanted else -1
    return -1


@tried(150)
@given(lines())
def test_overdue_is_what_has_had_all_its_working_minutes(line: Line) -> None:
    since, desks = overdue_since(line).tolist(), desks_of(line)
    plan = dispatch(line)
    for row, at_min in enumerate(since):
        if line.state[row] != ON_DESK:
            assert at_min == -1
            continue
        desk = desks[line.department[row]]
        assert at_min == counted(line, desk, row)
        # then the plan has nothing left for it but its least, a minute
        next_min = min((t + 1 for t in desk.minutes if t >= line.now_min), default=NEVER)
        if at_min >= 0:
            assert plan.finish[row] == next_min
        elif plan.finish[row] == next_min < NEVER:
            later = Line(**{name: getattr(line, name) for name in Line.__slots__}
                         | {"now_min": next_min})  # fmt: skip
            assert overdue_since(later)[row] == next_min


@tried(20)
@given(seed=st.integers(0, 2**32 - 1), hours=st.integers(0, 24 * 12))
def test_in_a_studio_it_is_what_the_calendars_say(seed: int, hours: int) -> None:
    """By the working minutes that the fold counts, those of answers by the days they take."""
    state = states_at_random(Random(seed), 40)[-1]
    now_min = parse_instant("2031-03-05T12:00:00Z") // US_PER_MIN + 60 * hours
    made = schedule(make_board(state), now_min)
    for row, since_min in enumerate(made.overdue_since().tolist()):
        item, department = made.board.frame.nodes[row]
        start_min, work_e4 = int(made.board.started_min[row]), int(made.board.work_e4[row])
        crew = crew_at(state, department, start_min)
        if made.board.phase[row] != ON_DESK or department == APPROVAL or crew is None:
            continue
        wanted = max(1, -(-work_e4 * crew.day_min // crew.rate_e4))
        worked = elapsed_min(state, department, start_min, now_min)
        assert (since_min >= 0) == (worked >= wanted), (item, department)
        if since_min >= 0:
            assert elapsed_min(state, department, start_min, since_min) == wanted
            assert elapsed_min(state, department, start_min, since_min - 1) == wanted - 1


def on_desk(work: int, started: int, now: int) -> int:
    """Since when a row of that many minutes is overdue."""
    row = Row(work_e4=work * 10_000, state=ON_DESK, started_min=started)
    return int(overdue_since(line_of([Department([Crew(1)], DAYS)], [row], now))[0])


def test_working_minutes_count_across_closing_hours() -> None:
    # seven minutes from the fifth on: five of the first window, two of the second
    assert on_desk(7, started=105, now=201) == -1
    assert on_desk(7, started=105, now=202) == 202
    assert on_desk(7, started=105, now=10_000) == 202
    # as a window closes its last minute is over
    assert on_desk(5, started=105, now=109) == -1
    assert on_desk(5, started=105, now=110) == 110
    # what began before the first window is counted from there
    assert on_desk(3, started=0, now=150) == 103
    assert on_desk(31, started=0, now=10_000) == -1


def test_no_rows_and_no_crews() -> None:
    assert overdue_since(line_of([Department([])], [])).tolist() == []
    row = Row(state=ON_DESK)
    assert overdue_since(line_of([Department([])], [row], 50)).tolist() == [-1]
    assert np.array_equal(overdue_since(line_of([Department()], [Row()], 50)), [-1])
