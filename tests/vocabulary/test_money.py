"""Currencies and rounding.

Minor units: ISO 4217, list one (the maintenance agency's table of codes), 2024: JPY and KRW 0, EUR
and USD 2, KWD, BHD and TND 3, CLF 4, XAU none; written from memory of that table, the package that
carries it is the other side of the check.
"""

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.money import (
    MONEY,
    SIGNED_MONEY,
    decimals_of,
    is_currency,
    money_text,
    rounded,
)


@pytest.mark.parametrize(
    ("currency", "decimals"),
    [
        *(("JPY", 0), ("KRW", 0), ("EUR", 2), ("USD", 2)),
        *(("KWD", 3), ("BHD", 3), ("TND", 3), ("CLF", 4)),
    ],
)
def test_minor_units(currency: str, decimals: int) -> None:
    assert is_currency(currency)
    assert decimals_of(currency) == decimals


@pytest.mark.parametrize("code", ["XAU", "XXX", "ABC", "eur", ""])
def test_what_is_not_counted_in(code: str) -> None:
    assert not is_currency(code)
    with pytest.raises(LookupError, match="ISO 4217"):
        decimals_of(code)


@pytest.mark.parametrize(
    ("amount", "currency", "shown"),
    [
        ("2.345", "EUR", "2.34"),
        ("2.355", "EUR", "2.36"),
        ("-2.345", "EUR", "-2.34"),
        ("2.3451", "EUR", "2.35"),
        ("0.5", "JPY", "0"),
        ("1.5", "JPY", "2"),
        ("2.5", "JPY", "2"),
        ("1.0005", "KWD", "1.000"),
        ("1.0015", "KWD", "1.002"),
        ("-0.004", "EUR", "0.00"),
    ],
)
def test_rounded_half_to_even(amount: str, currency: str, shown: str) -> None:
    assert money_text(rounded(Decimal(amount), currency)) == shown


@pytest.mark.parametrize("text", ["0", "12", "12.5", "12.50", "0.0001", "999999999999.9999"])
def test_money_is_plain_decimal_text(text: str) -> None:
    assert re.fullmatch(MONEY, text)
    assert re.fullmatch(SIGNED_MONEY, text)


@pytest.mark.parametrize(
    "text", ["", "-1", "+1", "01", "1.", ".5", "1e3", "1,000", "1.00000", "1234567890123", "NaN"]
)
def test_and_nothing_else(text: str) -> None:
    assert not re.fullmatch(MONEY, text)


def test_what_is_owed_back_has_a_minus_and_nothing_has_none() -> None:
    assert re.fullmatch(SIGNED_MONEY, "-0.50")
    assert not re.fullmatch(SIGNED_MONEY, "-0.00")
    assert not re.fullmatch(SIGNED_MONEY, "-0")


@given(st.decimals(-(10**11), 10**11, places=4), st.sampled_from(["JPY", "EUR", "KWD", "CLF"]))
def test_rounding_moves_by_half_a_unit_at_most_and_reads_back(
    amount: Decimal, currency: str
) -> None:
    done = rounded(amount, currency)
    assert abs(done - amount) <= Decimal(1).scaleb(-decimals_of(currency)) / 2
    text = money_text(done)
    assert re.fullmatch(SIGNED_MONEY, text)
    assert Decimal(text) == done
