"""35 mm footage."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.vocabulary.footage import Footage, feet_e4, footage, frames


def test_a_minute_at_24_frames_a_second_is_90_feet() -> None:
    # four-perforation 35 mm has 16 frames a foot: SMPTE ST 139 gives 64 perforations a foot
    # (figure from memory); 60 x 24 / 16 = 90
    assert footage(60 * 24) == Footage(90, 0)


def test_22_minutes_are_1980_feet() -> None:
    assert feet_e4(22 * 60 * 24) == 1_980 * 10_000


def test_it_is_written_in_feet_and_frames() -> None:
    assert str(footage(5 * 16 + 7)) == "5+07"


def test_a_length_is_never_negative() -> None:
    with pytest.raises(ValueError, match="negative"):
        footage(-1)


@given(st.integers(0, 10_000_000))
def test_frames_survive(length: int) -> None:
    assert frames(footage(length)) == length
    assert feet_e4(length) * 16 == length * 10_000
