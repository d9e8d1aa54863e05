"""Lengths in frames, as 35 mm footage and as time code."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.footage import (
    RATES,
    Footage,
    Rate,
    feet_e4,
    footage,
    frames,
    timecode,
)

DROP = RATES["29.97-drop"]

rates = st.one_of(st.sampled_from(list(RATES.values())), st.integers(1, 120).map(Rate))


def test_a_minute_at_24_frames_a_second_is_90_feet() -> None:
    # four-perforation 35 mm has 16 frames a foot: SMPTE ST 139 gives 64 perforations a foot
    # (figure from memory); 60 x 24 / 16 = 90
    assert footage(60 * 24) == Footage(90, 0)


def test_22_minutes_are_1980_feet() -> None:
    assert feet_e4(22 * 60 * 24) == 1_980 * 10_000


def test_it_is_written_in_feet_and_frames() -> None:
    assert str(footage(5 * 16 + 7)) == "5+07"


def test_a_length_is_never_negative() -> None:
    with pytest.raises(ValueError, match="negative: -1 frames"):
        footage(-1)
    with pytest.raises(ValueError, match="negative: -1 frames"):
        timecode(-1, RATES["24"])


@given(st.integers(0, 10_000_000))
def test_frames_survive(length: int) -> None:
    assert frames(footage(length)) == length
    assert feet_e4(length) * 16 == length * 10_000


@pytest.mark.parametrize(
    ("length", "rate", "text"),
    [
        (0, "24", "00:00:00:00"),
        (23, "24", "00:00:00:23"),
        (24, "24", "00:00:01:00"),
        (22 * 60 * 24, "24", "00:22:00:00"),
        (22 * 60 * 24, "23.976", "00:22:00:00"),
        (25 * 3600 + 24, "25", "01:00:00:24"),
        (1_800, "29.97", "00:01:00:00"),
        (1_799, "29.97-drop", "00:00:59;29"),
        (1_800, "29.97-drop", "00:01:00;02"),
        (3_600, "59.94-drop", "00:01:00;04"),
        (49, "50", "00:00:00:49"),
    ],
)
def test_time_code_of_lengths(length: int, rate: str, text: str) -> None:
    assert timecode(length, RATES[rate]) == text


def test_a_long_total_does_not_begin_again_after_a_day() -> None:
    assert timecode(24 * 3600 * 24 + 5, RATES["24"]) == "24:00:00:05"
    assert timecode(5 * 2_589_408, DROP) == "120:00:00;00"


def test_a_shows_own_whole_rate_serves_too() -> None:
    assert timecode(12 * 61 + 7, Rate(12)) == "00:01:01:07"
    assert timecode(119, Rate(120)) == "00:00:00:119"
    assert timecode(120 + 7, Rate(120)) == "00:00:01:007"


@pytest.mark.parametrize(("frames_per_second", "dropped"), [(0, 0), (-24, 0), (2, 2), (30, -2)])
def test_a_rate_that_cannot_be_counted_is_refused(frames_per_second: int, dropped: int) -> None:
    with pytest.raises(ValueError, match=f"cannot leave out {dropped}"):
        Rate(frames_per_second, dropped)


@given(st.integers(0, 10_000_000), rates)
def test_time_code_is_in_order_of_frames(length: int, rate: Rate) -> None:
    def numbers(at: int) -> list[int]:
        return [int(part) for part in timecode(at, rate).replace(";", ":").split(":")]

    assert numbers(length) < numbers(length + 1)
