"""Instants: RFC 3339 text to integers and back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.instants import (
    US_PER_MIN,
    format_instant,
    format_min,
    instant,
    instant_us,
    parse_instant,
)


def test_a_day_is_its_microseconds() -> None:
    assert parse_instant("1970-01-02T00:00:00Z") == 24 * 60 * US_PER_MIN


@pytest.mark.parametrize(
    "text",
    # the examples of RFC 3339 section 5.8 that are not leap seconds
    ["1985-04-12T23:20:50.52Z", "1996-12-19T16:39:57-08:00", "1937-01-01T12:00:27.87+00:20"],
)
def test_the_examples_of_rfc_3339_are_read(text: str) -> None:
    assert parse_instant(format_instant(parse_instant(text))) == parse_instant(text)


def test_a_zone_is_taken_into_account() -> None:
    # RFC 3339 section 5.8 says that these two are the same instant
    assert parse_instant("1996-12-19T16:39:57-08:00") == parse_instant("1996-12-20T00:39:57Z")


@pytest.mark.parametrize(
    "text",
    [
        "2031-03-04",
        "2031-03-04T09:30:00",
        "2031-03-04 09:30:00Z",
        "2031-03-04T09:30Z",
        "2031-03-04T09:30:00.1234567Z",
        "2031-03-04T24:00:00Z",
        "2031-02-30T00:00:00Z",
        "1990-12-31T23:59:60Z",  # a leap second, RFC 3339 section 5.8
        "2031-03-04T09:30:00+24:00",
        "٢٠٣١-03-04T09:30:00Z",
        " 2031-03-04T09:30:00Z",
    ],
)
def test_other_text_is_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011  # the standard library words some of them
        parse_instant(text)


def test_lower_case_is_read_as_the_rfc_allows() -> None:
    assert parse_instant("2031-03-04t09:30:00z") == parse_instant("2031-03-04T09:30:00Z")


def test_a_fraction_is_written_only_where_there_is_one() -> None:
    assert format_instant(1) == "1970-01-01T00:00:00.000001Z"
    assert format_min(90) == "1970-01-01T01:30:00Z"


@given(st.integers(-(2**55), 2**57))
def test_text_and_integer_are_inverse(at_us: int) -> None:
    assert parse_instant(format_instant(at_us)) == at_us
    assert instant_us(instant(at_us)) == at_us
