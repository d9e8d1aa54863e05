"""Trays as bits, against a sorted list."""

from bisect import insort

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from service.planning.kernel.trays import (
    HIGH_BITS,
    IN_WORD,
    PLACES_APART,
    WORD_BITS,
    lowest_bit,
    put,
    take_first,
)

WORDS_OF_HIGH = 3
PLACES = WORDS_OF_HIGH * PLACES_APART


def test_the_lowest_bit_of_every_word_with_one_or_two() -> None:
    for low in range(IN_WORD + 1):
        for other in range(low, IN_WORD + 1):
            assert lowest_bit(np.int64(1 << low | 1 << other)) == low


@given(st.lists(st.one_of(st.integers(0, PLACES - 1), st.none()), max_size=200))
def test_the_first_place_is_taken_first(moves: list[int | None]) -> None:
    """A number puts a place into the tray, None takes one out, from a word at or before it."""
    low = np.zeros(PLACES >> WORD_BITS, np.int64)
    high = np.zeros(PLACES >> HIGH_BITS, np.int64)
    waiting: list[int] = []
    for move in moves:
        if move is None and waiting:
            first = waiting.pop(0)
            assert take_first(low, high, np.int64(first >> HIGH_BITS)) == first
        elif move is not None and move not in waiting:
            put(low, high, np.int64(move))
            insort(waiting, move)
    for place in waiting:
        assert take_first(low, high, np.int64(0)) == place
    assert not low.any()
    assert not high.any()


def test_a_department_is_searched_from_its_own_words() -> None:
    """What waits in the departments before it is not seen."""
    low = np.zeros(PLACES >> WORD_BITS, np.int64)
    high = np.zeros(PLACES >> HIGH_BITS, np.int64)
    put(low, high, np.int64(5))
    put(low, high, np.int64(PLACES_APART + 9))
    assert take_first(low, high, np.int64(1)) == PLACES_APART + 9
    assert take_first(low, high, np.int64(0)) == 5
