"""The line a board poses: sound whatever was recorded, and the same however it was come to."""

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import advance, make_board
from service.planning.board.faults import PlanError
from service.planning.board.posing import make_line
from service.planning.kernel.backward import latest
from service.planning.kernel.dispatch import dispatch, warm
from service.planning.kernel.line import BrokenLineError, KernelArrays, Line
from service.planning.kernel.soundness import problem
from service.planning.plan.schedule import schedule
from service.vocabulary.calendar import NEVER
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.planning.random_states import states_at_random
from tests.properties import tried

NOW_MIN = parse_instant("2031-03-05T12:00:00Z") // US_PER_MIN


@pytest.fixture(scope="module", autouse=True)
def compiled() -> None:
    """Have the kernels compiled before any example runs."""
    warm()


def assert_same(one: KernelArrays, other: KernelArrays) -> None:
    for name, array, expected in zip(KernelArrays._fields, one, other, strict=True):
        np.testing.assert_array_equal(array, expected, err_msg=name)


def lines_posed(random: Random, facts: int) -> Iterator[tuple[Line, Line, Line | None]]:
    """After each fact: the line of the board advanced, that from nothing, and the one before."""
    states = states_at_random(random, facts)
    board, now_min = make_board(states[0]), NOW_MIN
    line = make_line(board, now_min)
    yield line, line, None
    for state in states[1:]:
        now_min += random.choice((0, 1, 90, 24 * 60))
        before, near = line, (board, line)
        # in a small studio most items change often; a board made anew would show nothing
        board = advance(board, state, changed_share_most=math.inf)
        line = make_line(board, now_min, near)
        yield line, make_line(make_board(state), now_min), before


@tried(30)
@given(seed=st.integers(0, 2**32 - 1))
def test_every_line_of_a_board_advanced_is_sound_and_that_of_one_made_anew(seed: int) -> None:
    for line, anew, _ in lines_posed(Random(seed), 40):
        assert_same(problem(line), problem(anew))
        assert line.ranking.distinct
        # neither finds a circle
        latest(line, dispatch(line), np.full(len(line.state), NEVER))


def test_the_lines_share_what_did_not_change() -> None:
    """Else the test above would hold for want of anything carried over."""
    seen: Counter[str] = Counter()
    for seed in range(10):
        for line, _, before in lines_posed(Random(seed), 40):
            if before is not None:
                for part in ("ranking", "hours", "crews", "successor"):
                    shared = getattr(line, part) is getattr(before, part)
                    seen[f"{part} {'shared' if shared else 'made anew'}"] += 1
    parts = ("ranking", "hours", "crews", "successor")
    assert set(seen) == {f"{part} {how}" for part in parts for how in ("shared", "made anew")}
    assert min(seen.values()) >= 5, seen


def test_what_the_dispatch_rule_has_no_bits_for_is_refused() -> None:
    board = make_board(states_at_random(Random(1), 1)[0])
    priority = np.array(board.priority)
    priority[3] = -1001
    with pytest.raises(BrokenLineError, match="priority of row 3: -1001 is not between"):
        make_line(replace(board, priority=priority), NOW_MIN)
    many = np.zeros(2**23 + 1, np.int8)
    with pytest.raises(BrokenLineError, match=r"ranking: 8388609 rows, more than 8388608$"):
        make_line(replace(board, phase=many), NOW_MIN)


def test_a_fault_names_the_row_of_its_visit() -> None:
    board = make_board(states_at_random(Random(1), 1)[0])
    row = board.frame.row_of["KESTREL-2/3", "paint"]
    work_e4 = np.array(board.work_e4)
    work_e4[row] = -1
    with pytest.raises(PlanError) as raised:
        schedule(replace(board, work_e4=work_e4), NOW_MIN)
    fault = raised.value.__cause__
    assert isinstance(fault, BrokenLineError)
    assert fault.row is not None
    assert board.frame.nodes[fault.row] == ("KESTREL-2/3", "paint")
    assert raised.value.item == "KESTREL-2/3"
