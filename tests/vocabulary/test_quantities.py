"""Quantities: what is written in JSON is what is counted."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.quantities import ceil_div, from_e4, to_e4


@pytest.mark.parametrize(
    ("number", "amount_e4"),
    [
        (0, 0),
        (1, 10_000),
        (0.05, 500),
        (0.1, 1_000),
        (2.5, 25_000),
        (1e-4, 1),
        (1980.0, 19_800_000),
    ],
)
def test_json_numbers_become_ten_thousandths(number: float, amount_e4: int) -> None:
    assert to_e4(number) == amount_e4


@pytest.mark.parametrize("number", [0.00001, 1.23456, math.nan, math.inf, -math.inf])
def test_what_cannot_be_held_is_refused(number: float) -> None:
    with pytest.raises(ValueError, match=r"decimals|finite"):
        to_e4(number)


@given(st.integers(-(10**12), 10**12))
def test_an_amount_survives_json(amount_e4: int) -> None:
    assert to_e4(from_e4(amount_e4)) == amount_e4


def test_whole_amounts_are_written_as_integers() -> None:
    assert type(from_e4(30_000)) is int
    assert from_e4(35_000) == 3.5


@given(st.integers(0, 10**9), st.integers(1, 10**6))
def test_division_rounds_up(dividend: int, divisor: int) -> None:
    quotient = ceil_div(dividend, divisor)
    assert (quotient - 1) * divisor < dividend <= quotient * divisor
