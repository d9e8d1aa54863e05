"""Footage and time code against handbook values and against another implementation.

Drop-frame time code: the rule of SMPTE ST 12-1 (two numbers are left out of every minute but each
tenth at 29.97 frames a second), from memory. The frames of ten minutes, 17,982, and of an hour,
107,892, are printed in D. Heidelberger, Drop-Frame Timecode (davidheidelberger.com, 2010) and in
what it draws on; that of a day is computed, 24 times the hour's. Film: 35 mm has 16 frames a foot
and runs 90 feet a minute at 24 frames a second (handbook values, from memory). The other
implementation is the package `timecode`.
"""

from collections.abc import Iterator
from fractions import Fraction
from random import Random

import pytest
from timecode.timecode import Timecode

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
DAY_FRAMES = 2_589_408

# our name of a rate, and what the other implementation is given: its rate, and whether not to drop
OTHERS = {
    "23.976": ("23.976", False),
    "24": ("24", False),
    "25": ("25", False),
    "29.97": ("29.97", True),
    "29.97-drop": ("29.97", False),
    "30": ("30", False),
    "50": ("50", False),
    "59.94": ("59.94", True),
    "59.94-drop": ("59.94", False),
    "60": ("60", False),
}


def other(name: str, length: int) -> str:
    """The other implementation's time code of a length; it counts the first frame as 1."""
    rate, force_non_drop = OTHERS[name]
    return str(Timecode(rate, frames=length + 1, force_non_drop_frame=force_non_drop))


def other_frames(name: str, text: str) -> int:
    rate, force_non_drop = OTHERS[name]
    return Timecode(rate, text, force_non_drop_frame=force_non_drop).frames - 1


def day_of(rate: Rate) -> int:
    """Frames of a day on the wall of time code: 24 hours less what is left out in them."""
    return 24 * 3600 * rate.frames_per_second - 24 * 54 * rate.dropped


def lengths_of(rate: Rate, seed: int) -> list[int]:
    """Around every minute of a day, and somewhere in it."""
    end = day_of(rate)
    begins = [
        at * 60 * rate.frames_per_second - rate.dropped * (at - at // 10) for at in range(24 * 60)
    ]
    around = {begin + step for begin in begins for step in (-2, -1, 0, 1, 2)}
    anywhere = Random(seed).sample(range(end), 1_000)
    return sorted(at for at in {*around, *anywhere, end - 1} if 0 <= at < end)


def numbers_of_a_day(rate: Rate) -> Iterator[tuple[int, int, int, int]]:
    """Hour, minute, second and frame, all written out, less those the rule leaves out."""
    for hour in range(24):
        for minute in range(60):
            first = rate.dropped if minute % 10 else 0
            for beyond in range(first, rate.frames_per_second):
                yield hour, minute, 0, beyond
            for second in range(1, 60):
                for beyond in range(rate.frames_per_second):
                    yield hour, minute, second, beyond


# --- footage ---------------------------------------------------------------------------------


def test_film_runs_ninety_feet_a_minute() -> None:
    assert footage(24 * 60) == (90, 0)
    assert footage(16) == (1, 0)
    assert str(footage(15)) == "0+15"


def test_a_half_hour_of_22_minutes_is_1980_feet() -> None:
    assert timecode(31_680, RATES["24"]) == "00:22:00:00"
    assert footage(31_680) == (1_980, 0)
    assert frames(Footage(1_980, 0)) == 31_680
    assert feet_e4(31_680) == 1_980 * 10_000


# --- time code -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "text"),
    [
        (1_800, "00:01:00;02"),  # by the rule
        (17_982, "00:10:00;00"),  # printed
        (107_892, "01:00:00;00"),  # printed
        (DAY_FRAMES - 1, "23:59:59;29"),  # by the rule
    ],
)
def test_lengths_in_drop_frame_time_code(length: int, text: str) -> None:
    assert timecode(length, DROP) == text == other("29.97-drop", length)


def test_a_day_has_2589408_frames_and_ends_where_the_other_begins_again() -> None:
    assert day_of(DROP) == DAY_FRAMES
    assert timecode(DAY_FRAMES, DROP) == "24:00:00;00"
    assert other("29.97-drop", DAY_FRAMES) == "00:00:00;00"


def test_all_numbers_of_a_day_written_out_stand_in_their_places() -> None:
    checked = set(lengths_of(DROP, seed=1)) | set(range(17_982))  # every frame of ten minutes
    last = -1
    for place, (hour, minute, second, beyond) in enumerate(numbers_of_a_day(DROP)):
        last = place
        if place in checked:
            text = f"{hour:02d}:{minute:02d}:{second:02d};{beyond:02d}"
            assert timecode(place, DROP) == text
    assert last + 1 == DAY_FRAMES


def test_what_the_rule_leaves_out_is_what_a_day_has_too_many() -> None:
    minutes = [minute for minute in range(24 * 60) if minute % 10]
    assert len(minutes) * 2 == 24 * 3600 * 30 - DAY_FRAMES


@pytest.mark.parametrize("name", RATES)
def test_another_implementation_says_the_same(name: str) -> None:
    rate = RATES[name]
    for length in lengths_of(rate, seed=len(name)):
        text = timecode(length, rate)
        assert text == other(name, length), length
    for length in Random(name).sample(range(day_of(rate)), 300):
        assert other_frames(name, timecode(length, rate)) == length


@pytest.mark.parametrize(("name", "exact"), [("29.97-drop", 30_000), ("59.94-drop", 60_000)])
def test_dropping_keeps_pace_with_the_clock_on_the_wall(name: str, exact: int) -> None:
    # exactly 30000/1001 frames a second: one part in a thousand slower than the numbers count
    rate = RATES[name]
    for hour in range(1, 25):
        length = day_of(rate) * hour // 24
        assert timecode(length, rate) == f"{hour:02d}:00:00;00"
        passed_s = Fraction(length * 1_001, exact)
        assert abs(passed_s - hour * 3600) < Fraction(1, 10)
    kept = RATES[name.removesuffix("-drop")]
    lagging_s = Fraction(3600 * kept.frames_per_second * 1_001, exact) - 3600
    assert lagging_s == Fraction(36, 10)
