"""Why the rules refuse a fact: values, returned, never raised."""

from collections.abc import Sequence
from enum import StrEnum
from typing import NamedTuple


class Code(StrEnum):
    """The stable name of a reason."""

    FORBIDDEN = "forbidden"
    UNKNOWN = "unknown"
    EXISTS = "exists"
    NOT_ON_ROUTE = "not-on-route"
    ILLEGAL_MOVE = "illegal-move"
    TIME_ORDER = "time-order"
    IN_FUTURE = "in-future"
    CONTRADICTION = "contradiction"
    CIRCLE = "circle"
    ID_REUSED = "id-reused"
    STRIKE_BREAKS = "strike-breaks"


class Reason(NamedTuple):
    """One reason: its code, what is wrong and the remedy, and where.

    `member` is a JSON pointer within the event ("" is the event as a whole), `place` that of
    the event in its batch.
    """

    code: Code
    detail: str
    member: str = ""
    place: int = 0


class Refusal(NamedTuple):
    """All reasons against a batch; nothing of it is recorded."""

    reasons: tuple[Reason, ...]


def at_places(refusal: Refusal, places: Sequence[int]) -> Refusal:
    """A refusal of events that stand at these places of their batch, reasons in its order."""
    reasons = [reason._replace(place=places[reason.place]) for reason in refusal.reasons]
    return Refusal(tuple(sorted(reasons, key=lambda reason: reason.place)))
