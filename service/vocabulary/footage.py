"""Frames and 35 mm footage: 16 frames a foot; 90 feet a minute where a second has 24 frames."""

from typing import NamedTuple

FRAMES_PER_FOOT = 16


class Footage(NamedTuple):
    """A length in whole feet and the frames beyond them (0 to 15)."""

    feet: int
    frames: int

    def __str__(self) -> str:
        return f"{self.feet}+{self.frames:02d}"


def footage(frames: int) -> Footage:
    """Feet and frames of a length given in frames (not negative)."""
    if frames < 0:
        raise ValueError(f"a length cannot be negative: {frames} frames")
    return Footage(*divmod(frames, FRAMES_PER_FOOT))


def frames(length: Footage) -> int:
    """The length in frames."""
    return length.feet * FRAMES_PER_FOOT + length.frames


def feet_e4(frames: int) -> int:
    """Feet in ten-thousandths; exact, because 10,000 is a multiple of 16."""
    return frames * (10_000 // FRAMES_PER_FOOT)
