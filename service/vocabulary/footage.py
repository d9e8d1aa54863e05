"""Lengths in frames, as 35 mm footage and as time code.

Footage has 16 frames a foot; 90 feet a minute where a second has 24 frames. Time code numbers
frames by hours, minutes, seconds and frames (SMPTE ST 12-1), `01:02:03:04`; where numbers are left
out to keep pace with the clock on the wall, the last colon is a semicolon, `01:02:03;04`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, NamedTuple

FRAMES_PER_FOOT = 16


class Footage(NamedTuple):
    """A length in whole feet and the frames beyond them (0 to 15)."""

    feet: int
    frames: int

    def __str__(self) -> str:
        return f"{self.feet}+{self.frames:02d}"


def footage(frames: int) -> Footage:
    """Feet and frames of a length given in frames (not negative)."""
    return Footage(*divmod(_not_negative(frames), FRAMES_PER_FOOT))


def frames(length: Footage) -> int:
    """The length in frames."""
    return length.feet * FRAMES_PER_FOOT + length.frames


def feet_e4(frames: int) -> int:
    """Feet in ten-thousandths; exact, because 10,000 is a multiple of 16."""
    return frames * (10_000 // FRAMES_PER_FOOT)


@dataclass(frozen=True, slots=True)
class Rate:
    """How time code numbers frames.

    `frames_per_second` is how many numbers a second has (30 where 29.97 frames pass); `dropped`
    how many of them are left out at the beginning of each minute that is not a tenth. A show's
    whole frame rate is `Rate(frames_per_second)`. Raises ValueError for what cannot be counted.
    """

    frames_per_second: int
    dropped: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.dropped < self.frames_per_second:
            raise ValueError(
                f"a second of {self.frames_per_second} numbers cannot leave out {self.dropped}; "
                "name at least 1 frame a second, and fewer left out than it has"
            )


RATES: Final[Mapping[str, Rate]] = MappingProxyType(
    {
        "23.976": Rate(24),
        "24": Rate(24),
        "25": Rate(25),
        "29.97": Rate(30),
        "29.97-drop": Rate(30, dropped=2),
        "30": Rate(30),
        "50": Rate(50),
        "59.94": Rate(60),
        "59.94-drop": Rate(60, dropped=4),
        "60": Rate(60),
    }
)
"""The usual rates by name; at 23.976 and at 29.97 without dropping, time code lags the clock."""


def timecode(frames: int, rate: Rate) -> str:
    """Time code of a length in frames (not negative): the number of the frame that follows it.

    Hours go on past 23, so that a long total does not begin again at nothing. Raises ValueError.
    """
    number = _numbered(_not_negative(frames), rate)
    seconds, beyond = divmod(number, rate.frames_per_second)
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(minutes, 60)
    width = len(str(rate.frames_per_second - 1))
    return f"{hour:02d}:{minute:02d}:{second:02d}{_mark(rate)}{beyond:0{max(2, width)}d}"


def _numbered(frames: int, rate: Rate) -> int:
    """The place of a frame among all numbers, those that are left out counted too."""
    whole_minute = 60 * rate.frames_per_second
    minute = whole_minute - rate.dropped
    tens, rest = divmod(frames, whole_minute + 9 * minute)
    begun = 0 if rest < whole_minute else 1 + (rest - whole_minute) // minute
    return frames + rate.dropped * (9 * tens + begun)


def _mark(rate: Rate) -> str:
    return ";" if rate.dropped else ":"


def _not_negative(frames: int) -> int:
    if frames < 0:
        raise ValueError(f"a length cannot be negative: {frames} frames")
    return frames
