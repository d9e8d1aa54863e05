"""The wheel of what ends soon, against a plain list of minutes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.kernel.trays import IN_WORD, WORD_BITS
from service.planning.kernel.wheel import AHEAD_MIN, first_ending, put_ending, take_ending
from service.vocabulary.calendar import NEVER

ROWS = 60
NOW_MIN = 29_700_000
"""A minute of our days, in 2026."""


class Wheel:
    """The arrays of a wheel, as a run holds them."""

    def __init__(self) -> None:
        self.filled = np.zeros(AHEAD_MIN >> WORD_BITS, np.int64)
        self.ending = np.full(AHEAD_MIN, -1, np.int32)
        self.link = np.zeros(ROWS, np.int32)

    def put(self, row: int, minute: int) -> None:
        put_ending(self.filled, self.ending, self.link, row, np.int64(minute))

    def take(self, minute: int) -> set[int]:
        rows = set()
        row = take_ending(self.filled, self.ending, np.int64(minute))
        while row >= 0:
            rows.add(int(row))
            row = self.link[row]
        return rows

    def first(self, after: int, bound: int = NEVER) -> int:
        return int(first_ending(self.filled, np.int64(after), np.int64(bound)))


# near the words' ends and the horizon, or anywhere in it
minutes_ahead = st.one_of(
    st.integers(1, 2 * IN_WORD + 4),
    st.integers(AHEAD_MIN - 2 * IN_WORD, AHEAD_MIN - 1),
    st.integers(1, AHEAD_MIN - 1),
)


@given(st.integers(NOW_MIN, NOW_MIN + 2 * IN_WORD), st.lists(minutes_ahead, max_size=ROWS))
def test_minutes_come_in_order_with_all_their_rows(now: int, ahead: list[int]) -> None:
    """Each row, when it is taken out, may be followed by one that ends later still."""
    wheel, ends = Wheel(), dict[int, int]()
    first, later = ahead[: len(ahead) // 2], ahead[len(ahead) // 2 :]
    for row, minutes in enumerate(first):
        ends[row] = now + minutes
        wheel.put(row, now + minutes)
    t = now
    while ends:
        t = wheel.first(t)
        assert t == min(ends.values())
        expected = {row for row, end in ends.items() if end == t}
        assert wheel.take(t) == expected
        for row in expected:
            del ends[row]
        if later:
            row = len(first) + len(later) - 1
            ends[row] = t + later.pop()
            wheel.put(row, ends[row])
    assert wheel.first(t) == NEVER
    assert not wheel.filled.any()


@pytest.mark.parametrize("ahead", [1, 2, IN_WORD, IN_WORD + 1, 1000, AHEAD_MIN - 1])
@pytest.mark.parametrize("now", range(NOW_MIN, NOW_MIN + IN_WORD + 1, 5))
def test_nothing_is_seen_at_or_behind_the_bound(now: int, ahead: int) -> None:
    wheel = Wheel()
    wheel.put(7, now + ahead)
    assert wheel.first(now, now + ahead) == now + ahead
    assert wheel.first(now, now + ahead + 1) == now + ahead
    if ahead > 1:
        assert wheel.first(now, now + ahead - 1) == now + ahead - 1
    assert wheel.take(now + ahead) == {7}
    assert wheel.first(now, now + ahead + 1) == now + ahead + 1
