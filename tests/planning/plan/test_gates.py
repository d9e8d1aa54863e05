"""Gates and impacts over arrays, held against a walk through every visit; nothing kept misleads."""

from collections.abc import Iterable
from datetime import date, timedelta
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import advance, make_board
from service.planning.compare.impact import compare
from service.planning.kernel.line import OUT
from service.planning.plan.gates import gate_standing, gate_standings
from service.planning.plan.met import meeting_of
from service.planning.plan.schedule import Schedule, delivery_rows, load_e4, projected_min, schedule
from service.production.lending import in_picture, lent_visits
from service.production.meeting import meeting
from service.production.state import STUDIO_CALENDAR, visit_of
from service.production.takes import Phase
from service.vocabulary.calendar import NEVER, end_of_day_min
from service.vocabulary.facts.routes import GATES
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.planning.random_states import GATES as RANDOM_GATES
from tests.planning.random_states import states_at_random
from tests.production.random_logs import LOGS, tell_at_random
from tests.properties import tried
from tests.telling import APPROVING, ROUTE, studio

NOW_MIN = parse_instant("2031-03-06T10:00:00Z") // US_PER_MIN
seeds = st.integers(0, 2**32 - 1)


def _met_min(plan: Schedule, episode: str, gate: str) -> int | None:
    """When a gate of an undelivered episode is met, visit by visit."""
    record, board = plan.state.episodes[episode], plan.board
    if gate not in record.route.gates:
        return None
    department, first = record.route.gates[gate]
    own = department in record.route.episode_departments
    row_of = board.frame.row_of
    rows = [
        row_of[item, department]
        for item in ((episode,) if own else record.scenes)
        if (item, department) in row_of
    ]
    if gate == "delivery":
        assert sorted(rows) == delivery_rows(board, episode).tolist()
    rows = [row for row in rows if not board.lent[row]]  # scenes out of the picture hold none up
    finishes = [
        int(board.first_ended_min[row])
        if first and board.first_ended_min[row] >= 0
        else int(plan.finish_of()[row])
        for row in rows
    ]
    still_open = [
        row for row in rows
        if board.phase[row] != OUT and not (first and board.first_ended_min[row] >= 0)
    ]  # fmt: skip
    last = max(finishes, default=-1)
    met = meeting(plan.state, episode, gate)
    assert met is not None
    assert (met.stands_us >= 0) == (last >= 0 and not still_open)
    if met.stands_us >= 0:
        return met.stands_us // US_PER_MIN
    return None if last < 0 else last


@tried(13)
@given(seed=seeds)
def test_a_gate_is_met_by_the_last_of_its_visits(seed: int) -> None:
    plan = schedule(make_board(states_at_random(Random(seed), 40)[-1]), NOW_MIN)
    for episode, record in plan.state.episodes.items():
        for gate in record.route.gates if record.delivered_us < 0 else ():
            assert projected_min(plan, episode, gate) == _met_min(plan, episode, gate)


@tried(20)
@given(seed=seeds)
def test_a_date_holds_exactly_by_the_rule(seed: int) -> None:
    plan = schedule(make_board(states_at_random(Random(seed), 40)[-1]), NOW_MIN)
    calendar = plan.state.calendars[STUDIO_CALENDAR]
    for episode, record in plan.state.episodes.items():
        for gate in GATES:
            standing, gate_set = gate_standing(plan, episode, gate), record.gate(gate)
            met_min = _met_min(plan, episode, gate) if record.delivered_us < 0 else _frozen_min(
                plan, episode, gate)  # fmt: skip
            if gate_set is None or met_min is None:
                assert standing.date_holds is None
            elif met_min >= NEVER:
                assert standing.date_holds is False
                assert standing.projected_on is None
            else:
                # due at the end of that day
                assert standing.date_holds == (met_min <= end_of_day_min(calendar, gate_set.due_on))
            if gate_set is None:
                assert standing.margin_workdays is None


@pytest.mark.parametrize(
    ("due_on", "delivered_at", "margin_workdays", "date_holds"),
    [
        ("2031-03-07", "2031-03-07T22:00:00Z", 0, True),  # late on Friday, as it is due
        ("2031-03-07", "2031-03-08T10:00:00Z", 0, False),  # the Saturday behind it
        ("2031-03-07", "2031-03-09T10:00:00Z", 0, False),  # and the Sunday
        ("2031-03-07", "2031-03-10T10:00:00Z", -1, False),  # and the Monday
        ("2031-03-08", "2031-03-07T10:00:00Z", 0, True),  # a date on a day off
        ("2031-03-08", "2031-03-08T10:00:00Z", 0, True),
        ("2031-03-08", "2031-03-09T10:00:00Z", 0, False),
        ("2031-03-09", "2031-03-08T10:00:00Z", 0, True),
    ],
)
def test_a_date_passed_over_days_off_does_not_hold_though_no_working_day_is_lost(
    due_on: str, delivered_at: str, margin_workdays: int, date_holds: bool
) -> None:
    story = studio(episodes=("KESTREL-1",))
    story.tell("gate.set", "KESTREL-1", {"gate": "delivery", "due_on": due_on})
    story.now = delivered_at
    story.tell("episode.delivered", "KESTREL-1")
    plan = schedule(make_board(story.state), parse_instant(delivered_at) // US_PER_MIN)
    standing = gate_standing(plan, "KESTREL-1", "delivery")
    assert (standing.margin_workdays, standing.date_holds) == (margin_workdays, date_holds)


def test_a_projected_date_is_held_against_the_calendar_too() -> None:
    """A department with hours on Saturdays of its own finishes behind a Friday."""
    story = studio(scenes=1, episodes=("KESTREL-1",))
    hours = {"days": ["saturday"], "opens": "09:00", "closes": "17:00"}
    weekend = {"from_on": "2031-01-01", "department": "mix", "shifts": [hours]}
    story.tell("calendar.set", "studio", weekend)
    before = gate_standing(schedule(make_board(story.state), NOW_MIN), "KESTREL-1", "delivery")
    assert before.projected_on is not None
    assert before.projected_on.isoweekday() == 6
    friday = before.projected_on - timedelta(days=1)
    story.tell("gate.set", "KESTREL-1", {"gate": "delivery", "due_on": friday.isoformat()})
    plan = schedule(make_board(story.state), NOW_MIN)
    standing = gate_standing(plan, "KESTREL-1", "delivery")
    assert (standing.margin_workdays, standing.date_holds) == (0, False)
    assert [episode.date_holds for episode in compare(plan, plan).episodes] == [False]


def test_a_scene_omitted_since_may_have_met_a_gate_by_itself() -> None:
    story = studio(scenes=1, episodes=("KESTREL-1",))
    story.now = "2031-03-06T10:00:00Z"
    done = {"department": "camera"}
    one, two, three = (f"KESTREL-1/{number}" for number in (1, 2, 3))
    listed = {"frames": 80, "drawings": 40}
    story.tell("hand-off.made", one, done, at="2031-03-03T12:00:00Z")
    story.tell("scene.listed", two, listed, at="2031-03-04T12:00:00Z")
    story.tell("scene.listed", three, listed, at="2031-03-04T12:00:00Z")
    story.tell("hand-off.made", three, done, at="2031-03-05T12:00:00Z")
    story.tell("scene.omitted", one, at="2031-03-06T09:00:00Z")
    standing = gate_standing(schedule(make_board(story.state), NOW_MIN), "KESTREL-1", "rough-cut")
    assert standing.met_on == date(2031, 3, 3)


def _frozen_min(plan: Schedule, episode: str, gate: str) -> int | None:
    """Since when a gate of a delivered episode stood met as it was delivered."""
    record = plan.state.episodes[episode]
    if gate == "delivery":
        return record.delivered_us // US_PER_MIN
    stands = [met.stands_us // US_PER_MIN for met in record.met if met.gate == gate]
    return next((at_min for at_min in stands if at_min >= 0), None)


def test_the_stories_have_gates_of_every_kind() -> None:
    """Dates that hold, do not hold and cannot be projected; gates met and not met."""
    seen = set()
    for seed in range(150):
        state = states_at_random(Random(seed), 40)[-1]
        plan = schedule(make_board(state), NOW_MIN)
        for episode, record in state.episodes.items():
            for standing in gate_standings(plan, episode).values():
                seen.add((record.delivered_us >= 0, standing.met_on is not None,
                          standing.date_holds))  # fmt: skip
    for delivered in (False, True):
        assert {(delivered, False, None), (delivered, True, None)} <= seen
        assert {holds for among, _, holds in seen if among == delivered} == {None, True, False}


@tried(13)
@given(seed=seeds)
def test_what_a_board_carries_on_of_gates_is_what_they_come_to(seed: int) -> None:
    random = Random(seed)
    states = states_at_random(random, 40)
    board = make_board(states[0])
    for state in sorted(random.sample(range(len(states)), min(12, len(states)))):
        board = advance(board, states[state])
        anew = make_board(states[state])
        for episode in states[state].episodes:
            for gate in GATES if random.random() < 0.8 else ():
                carried = meeting_of(board, episode, gate)
                assert carried == meeting_of(anew, episode, gate)
                if states[state].episodes[episode].delivered_us < 0:
                    assert carried == meeting(states[state], episode, gate)


@tried(20)
@given(LOGS, seeds)
def test_so_it_is_where_facts_come_one_after_the_other_and_late(log: list[int], seed: int) -> None:
    story = studio(scenes=2, route={**APPROVING, "gates": RANDOM_GATES})
    random, board = Random(seed), make_board(story.state)
    for one in log:
        tell_at_random(story, [one])
        board = advance(board, story.state)
        for episode, record in story.state.episodes.items():
            for gate in GATES if record.delivered_us < 0 and random.random() < 0.5 else ():
                assert meeting_of(board, episode, gate) == meeting(story.state, episode, gate)


@tried(13)
@given(seed=seeds)
def test_standings_taken_over_are_those_worked_out(seed: int) -> None:
    random = Random(seed)
    states = states_at_random(random, 40)
    base = schedule(make_board(random.choice(states)), NOW_MIN)
    for state in random.sample(states, min(8, len(states))):
        other = schedule(advance(base.board, state), NOW_MIN)
        for episode in state.episodes:
            standings = gate_standings(other, episode, base)
            anew = schedule(make_board(state), NOW_MIN)
            assert standings == {name: gate_standing(anew, episode, name) for name in standings}


@tried(13)
@given(seed=seeds)
def test_an_impact_from_what_is_kept_is_that_from_nothing(seed: int) -> None:
    """One plan is compared with many, as what-ifs of one moment are."""
    random = Random(seed)
    states = states_at_random(random, 40)
    before = random.choice(states)
    base = schedule(make_board(before), NOW_MIN)
    for state in random.sample(states, min(8, len(states))):
        kept = compare(base, schedule(advance(base.board, state), NOW_MIN))
        anew = compare(schedule(make_board(before), NOW_MIN), schedule(make_board(state), NOW_MIN))
        assert kept == anew


@tried(13)
@given(seed=seeds)
def test_added_work_is_all_work_after_less_all_work_before(seed: int) -> None:
    random = Random(seed)
    states = states_at_random(random, 40)
    before, after = (schedule(make_board(random.choice(states)), NOW_MIN) for _ in range(2))
    wanted: dict[str, int] = {}
    for plan, sign in ((before, -1), (after, 1)):
        for row in range(len(plan.board.phase)):
            department = plan.board.frame.nodes[row][1]
            wanted[department] = wanted.get(department, 0) + sign * load_e4(plan, row)
    impact = compare(before, after)
    assert {one.department: one.added_work_e4 for one in impact.departments} == {
        name: work for name, work in wanted.items() if work and name != "approval"
    }


@tried(13)
@given(seed=seeds)
def test_scenes_that_move_are_all_that_finish_at_another_minute(seed: int) -> None:
    random = Random(seed)
    states = states_at_random(random, 40)
    before, after = (schedule(make_board(random.choice(states)), NOW_MIN) for _ in range(2))

    def finish(plan: Schedule, item: str) -> int:
        rows = [row for row, node in enumerate(plan.board.frame.nodes) if node[0] == item]
        return max((int(plan.finish_of()[row]) for row in rows), default=-1)

    items = {*before.board.frame.items, *after.board.frame.items}
    scenes = {*before.state.scenes, *after.state.scenes}
    moved = {item for item in items & scenes if finish(before, item) != finish(after, item)}
    reported = compare(before, after).scenes
    assert {scene.scene for scene in reported} == moved
    for scene in reported:
        is_open = (_is_open(before, scene.scene), _is_open(after, scene.scene))
        assert (scene.open_before, scene.open_after) == is_open
        dated = None not in (scene.finish_before_min, scene.finish_after_min)
        assert (scene.slip_workdays is not None) == (all(is_open) and dated)
    assert [scene.scene for scene in reported] == sorted(
        moved, key=list(np.array(sorted(items, key=_order))).index
    )


def _is_open(plan: Schedule, item: str) -> bool:
    """Whether some visit of a scene is not handed off; of one out of the picture, that is lent."""
    state = plan.state
    scene = state.scenes.get(item)
    if scene is None:
        return False
    departments: Iterable[str] = scene.departments
    if not in_picture(state, item) and (scene.omitted or item in plan.board.frame.place_of):
        departments = lent_visits(state, item)
    visits = (visit_of(state, item, department) for department in departments)
    return any(visit.current.phase is not Phase.HANDED_OFF for visit in visits)


def _order(item: str) -> tuple[object, ...]:
    """As people count: numbers as numbers."""
    show, _, rest = item.partition("-")
    episode, _, scene = rest.partition("/")
    digits = "".join(letter for letter in scene if letter.isdigit())
    return show, int(episode or 0), int(digits or 0), scene


def test_an_omitted_scene_whose_work_is_lent_is_not_in_the_way_of_a_gate() -> None:
    first = {"gate": "rough-cut", "department": "animation", "takes": "first"}
    gates = [first, {"gate": "delivery", "department": "mix"}]
    story = studio(scenes=2, route={**ROUTE, "gates": gates})
    story.now = "2031-03-10T08:00:00Z"
    done = {"department": "animation"}
    story.tell("hand-off.made", "KESTREL-1/1", done, at="2031-03-05T12:00:00Z")
    lent = {"source": "KESTREL-1/2", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-2/1", lent, at="2031-03-05T13:00:00Z")
    story.tell("scene.omitted", "KESTREL-1/2", at="2031-03-07T08:00:00Z")
    board = make_board(story.state)
    found = meeting_of(board, "KESTREL-1", "rough-cut")
    assert found == meeting(story.state, "KESTREL-1", "rough-cut")
    assert found is not None
    assert found.met_us == found.stands_us == parse_instant("2031-03-07T08:00:00Z")
