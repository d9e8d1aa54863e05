"""The date trail as JSON shows it."""

from collections.abc import Callable, Iterable, Sequence

from service.planning.compare.trail import EVENT, Move
from service.projections.rows import Share
from service.web.representation.values import Shown, shown_min

DAY_MIN = 24 * 60


def shown_days(minutes: int | None) -> float | None:
    """Minutes as days of 24 hours, by two decimals; never -0.0."""
    return None if minutes is None else round(minutes / DAY_MIN, 2) + 0.0


def shown_move(move: Move, *, provisional: bool) -> Shown:
    """One row of a trail."""
    return {
        "number": move.number,
        "at": shown_min(move.at_min),
        "position": move.position,
        "cause": move.cause,
        "type": move.type,
        "subject": move.subject,
        "retake": move.retake,
        "retake_kind": move.retake_kind,
        "department": move.department,
        "waited_for": move.waited_for,
        "delivery_before": shown_min(move.before_min),
        "delivery_after": shown_min(move.after_min),
        "delta_minutes": move.delta_min,
        "delta_days": shown_days(move.delta_min),
        "reopened": _reopened(move),
        "provisional": provisional,
    }


def _reopened(move: Move) -> bool:
    """Whether a delivery that had been made is open again.

    What is projected lies behind the minute it is projected at, what was made does not. An event's
    row begins with the old state at its own minute.
    """
    made_before = move.before_min is not None and move.before_min <= move.at_min
    open_after = move.after_min is None or move.after_min > move.at_min
    return move.cause == EVENT and made_before and open_after


def shown_totals(shares: Sequence[Share]) -> Shown:
    """What rows add up to, by cause, department and kind of retake."""
    return {
        "in_all": _sum(shares),
        "by_cause": _by(shares, lambda one: (("cause", one.cause), ("type", one.type))),
        "by_department": _by(shares, lambda one: (("department", one.department),)),
        "by_retake_kind": _by(
            [one for one in shares if one.retake_kind is not None],
            lambda one: (("retake_kind", one.retake_kind),),
        ),
    }


Named = tuple[tuple[str, str | None], ...]


def _by(shares: Iterable[Share], named: Callable[[Share], Named]) -> list[Shown]:
    gathered: dict[Named, list[Share]] = {}
    for share in shares:
        if share.moves:
            gathered.setdefault(named(share), []).append(share)
    sums = [{**dict(names), **_sum(some)} for names, some in gathered.items()]
    return sorted(sums, key=lambda one: (-one["minutes_net"], *map(str, one.values())))


def _sum(shares: Iterable[Share]) -> Shown:
    moves = lost_min = gained_min = 0
    for share in shares:
        moves += share.moves
        lost_min += share.lost_min
        gained_min += share.gained_min
    return {
        "moves": moves,
        "minutes_lost": lost_min,
        "minutes_gained": gained_min,
        "minutes_net": lost_min - gained_min,
        "days_lost": shown_days(lost_min),
        "days_gained": shown_days(gained_min),
        "days_net": shown_days(lost_min - gained_min),
    }
