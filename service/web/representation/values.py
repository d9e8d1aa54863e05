"""Values as JSON shows them."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from service.production.state import Node
from service.vocabulary.footage import Rate, footage, timecode
from service.vocabulary.instants import format_instant, format_min
from service.vocabulary.quantities import from_e4

Shown = dict[str, Any]


def shown_us(at_us: int | None) -> str | None:
    """An instant in microseconds; -1 is none."""
    return None if at_us is None or at_us == -1 else format_instant(at_us)


def shown_min(at_min: int | None) -> str | None:
    """An instant in minutes."""
    return None if at_min is None else format_min(at_min)


def shown_on(on: date | None) -> str | None:
    """A date."""
    return None if on is None else on.isoformat()


def shown_e4(amount_e4: int | None) -> int | float | None:
    """A quantity in ten-thousandths."""
    return None if amount_e4 is None else from_e4(amount_e4)


def shown_length(frames: int, rate: Rate) -> Shown:
    """A length in frames, as 35 mm feet and the frames beyond them, and as time code."""
    length = footage(frames)
    return {
        "frames_in_all": frames,
        "feet": length.feet,
        "frames": length.frames,
        "timecode": timecode(frames, rate),
    }


def shown_nodes(nodes: Iterable[Node]) -> list[Shown]:
    """Visits that are only named."""
    return [{"item": item, "department": department} for item, department in nodes]
