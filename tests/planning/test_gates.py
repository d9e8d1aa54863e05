"""Gates and impacts over arrays, held against a walk through every visit; nothing kept misleads."""

from random import Random

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from service.planning.board import advance, make_board
from service.planning.gates import gate_standing, gate_standings
from service.planning.impact import compare
from service.planning.schedule import Schedule, delivery_rows, load_e4, projected_min, schedule
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.planning.told import states_told

NOW_MIN = parse_instant("2031-03-06T10:00:00Z") // US_PER_MIN
seeds = st.integers(0, 2**32 - 1)


def _met_min(plan: Schedule, episode: str, gate: str) -> int | None:
    """When a gate is met, visit by visit."""
    record = plan.state.episodes[episode]
    if gate not in record.route.gates:
        return None
    department, first = record.route.gates[gate]
    own = department in record.route.episode_departments
    row_of = plan.board.frame.row_of
    rows = [
        row_of[item, department]
        for item in ((episode,) if own else record.scenes)
        if (item, department) in row_of
    ]
    if gate == "delivery":
        assert sorted(rows) == delivery_rows(plan.board, episode).tolist()
    finishes = [
        int(plan.board.first_ended_min[row])
        if first and plan.board.first_ended_min[row] >= 0
        else int(plan.finish_of()[row])
        for row in rows
    ]
    last = max(finishes, default=-1)
    return None if last < 0 else last


@settings(max_examples=25, deadline=None)
@given(seed=seeds)
def test_a_gate_is_met_by_the_last_of_its_visits(seed: int) -> None:
    plan = schedule(make_board(states_told(Random(seed), 40)[-1]), NOW_MIN)
    for episode, record in plan.state.episodes.items():
        for gate in record.route.gates:
            assert projected_min(plan, episode, gate) == _met_min(plan, episode, gate)


@settings(max_examples=25, deadline=None)
@given(seed=seeds)
def test_standings_taken_over_are_those_worked_out(seed: int) -> None:
    random = Random(seed)
    states = states_told(random, 40)
    base = schedule(make_board(random.choice(states)), NOW_MIN)
    for state in random.sample(states, min(8, len(states))):
        other = schedule(advance(base.board, state), NOW_MIN)
        for episode in state.episodes:
            standings = gate_standings(other, episode, base)
            assert standings == {name: gate_standing(other, episode, name) for name in standings}


@settings(max_examples=25, deadline=None)
@given(seed=seeds)
def test_an_impact_from_what_is_kept_is_that_from_nothing(seed: int) -> None:
    """One plan is compared with many, as what-ifs of one moment are."""
    random = Random(seed)
    states = states_told(random, 40)
    before = random.choice(states)
    base = schedule(make_board(before), NOW_MIN)
    for state in random.sample(states, min(8, len(states))):
        kept = compare(base, schedule(advance(base.board, state), NOW_MIN))
        anew = compare(schedule(make_board(before), NOW_MIN), schedule(make_board(state), NOW_MIN))
        assert kept == anew


@settings(max_examples=25, deadline=None)
@given(seed=seeds)
def test_added_work_is_all_work_after_less_all_work_before(seed: int) -> None:
    random = Random(seed)
    states = states_told(random, 40)
    before, after = (schedule(make_board(random.choice(states)), NOW_MIN) for _ in range(2))
    wanted: dict[str, int] = {}
    for plan, sign in ((before, -1), (after, 1)):
        for row in range(len(plan.board.phase)):
            department = plan.board.frame.nodes[row][1]
            wanted[department] = wanted.get(department, 0) + sign * load_e4(plan, row)
    told = compare(before, after)
    assert {one.department: one.added_work_e4 for one in told.departments} == {
        name: work for name, work in wanted.items() if work and name != "approval"
    }


@settings(max_examples=25, deadline=None)
@given(seed=seeds)
def test_scenes_that_move_are_all_that_finish_at_another_minute(seed: int) -> None:
    random = Random(seed)
    states = states_told(random, 40)
    before, after = (schedule(make_board(random.choice(states)), NOW_MIN) for _ in range(2))

    def finish(plan: Schedule, item: str) -> int:
        rows = [row for row, node in enumerate(plan.board.frame.nodes) if node[0] == item]
        return max((int(plan.finish_of()[row]) for row in rows), default=-1)

    items = {*before.board.frame.items, *after.board.frame.items}
    scenes = {*before.state.scenes, *after.state.scenes}
    moved = {item for item in items & scenes if finish(before, item) != finish(after, item)}
    told = compare(before, after).scenes
    assert {scene.scene for scene in told} == moved
    assert [scene.scene for scene in told] == sorted(
        moved, key=list(np.array(sorted(items, key=_order))).index
    )


def _order(item: str) -> tuple[object, ...]:
    """As people count: numbers as numbers."""
    show, _, rest = item.partition("-")
    episode, _, scene = rest.partition("/")
    digits = "".join(letter for letter in scene if letter.isdigit())
    return show, int(episode or 0), int(digits or 0), scene
