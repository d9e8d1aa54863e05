"""The date trail as JSON shows it."""

from collections.abc import Callable, Iterable, Sequence
from typing import Annotated, overload

from service.planning.compare.trail import CAUSES, EVENT, DateMove
from service.projections.rows import Share
from service.vocabulary.facts.retakes import KINDS
from service.web.answers import Instant, Quantity, Shown, answer_of, extended, note, one_of, page_of
from service.web.nouns.values import shown_min

DAY_MIN = 24 * 60


class MoveShown(Shown):
    """One change of an episode's projected delivery, and what caused it."""

    number: Annotated[int, note("Its place in the episode's trail, from 1.")]
    at: Annotated[
        Instant, note("The minute: of the event's recording, or up to which time had passed.")
    ]
    position: Annotated[int, note("The event's; where time passed, that of the last event before.")]
    cause: Annotated[str, one_of(CAUSES, "An event, or time passing.")]
    type: Annotated[str | None, note("The event's type; null where time passed.")]
    subject: Annotated[str | None, note("The event's subject; null where time passed.")]
    retake: Annotated[str | None, note("The retake that the event is about, or that it struck.")]
    retake_kind: Annotated[str | None, one_of(KINDS, "The kind of that retake.", none=True)]
    department: Annotated[
        str | None, note("The event's department, or the one that was waited for.")
    ]
    waited_for: Annotated[
        str | None,
        note(
            "Where time passed, the item that the delivery waited for: the first visit of its "
            "critical chain, on a desk or not started yet."
        ),
    ]
    delivery_before: Annotated[
        Instant | None, note("The projected delivery before; null where it could not be said.")
    ]
    delivery_after: Annotated[
        Instant | None, note("The same after; of a delivered episode, when it was delivered.")
    ]
    delta_minutes: Annotated[
        int | None,
        note(
            "By how much it moved from the last delivery that could be said, later is positive; "
            "null where there is nothing to compare. They add up exactly."
        ),
    ]
    delta_days: Annotated[Quantity | None, note("The same in days of 24 hours, by two decimals.")]
    reopened: Annotated[
        bool,
        note(
            "Whether the delivery had been made, all that meets it handed off, and is open again. "
            "It moves from when it was made, so days in which nothing was owed are in the row."
        ),
    ]
    provisional: Annotated[
        bool,
        note(
            "Whether the row may be grouped otherwise later, its minute not being over; where "
            "time passed up to now, it grows until something is recorded."
        ),
    ]


class SumShown(Shown):
    """What some rows of a trail add up to."""

    moves: Annotated[int, note("How many rows moved a date.")]
    minutes_lost: Annotated[int, note("By how much in all they moved it later.")]
    minutes_gained: Annotated[int, note("By how much in all they moved it earlier.")]
    minutes_net: Annotated[int, note("Lost less gained.")]
    days_lost: Annotated[Quantity, note("Lost, in days of 24 hours.")]
    days_gained: Annotated[Quantity, note("Gained, in days of 24 hours.")]
    days_net: Annotated[Quantity, note("Net, in days of 24 hours.")]


class CauseSumShown(SumShown):
    """What came of one cause."""

    cause: Annotated[str, one_of(CAUSES, "An event, or time passing.")]
    type: Annotated[str | None, note("The type of event.")]


class DepartmentSumShown(SumShown):
    """What came of one department."""

    department: Annotated[str | None, note("The department; null for what is of none.")]


class KindSumShown(SumShown):
    """What came of retakes of one kind."""

    retake_kind: Annotated[str, one_of(KINDS, "The kind.")]


class TotalsShown(Shown):
    """What moved dates, added up; by net days, the greatest loss first."""

    in_all: Annotated[SumShown, note("Everything.")]
    by_cause: Annotated[list[CauseSumShown], note("By what caused it.")]
    by_department: Annotated[list[DepartmentSumShown], note("By department.")]
    by_retake_kind: Annotated[
        list[KindSumShown], note("By kind of retake, events about retakes alone.")
    ]


@overload
def shown_days(minutes: int) -> float: ...
@overload
def shown_days(minutes: int | None) -> float | None: ...
def shown_days(minutes: int | None) -> float | None:
    """Minutes as days of 24 hours, by two decimals; never -0.0."""
    return None if minutes is None else round(minutes / DAY_MIN, 2) + 0.0


def shown_move(move: DateMove, *, provisional: bool) -> MoveShown:
    """One row of a trail."""
    return MoveShown(
        number=move.number,
        at=shown_min(move.at_min),
        position=move.position,
        cause=move.cause,
        type=move.type,
        subject=move.subject,
        retake=move.retake,
        retake_kind=move.retake_kind,
        department=move.department,
        waited_for=move.waited_for,
        delivery_before=shown_min(move.before_min),
        delivery_after=shown_min(move.after_min),
        delta_minutes=move.delta_min,
        delta_days=shown_days(move.delta_min),
        reopened=_reopened(move),
        provisional=provisional,
    )


def _reopened(move: DateMove) -> bool:
    """Whether a delivery that had been made is open again.

    What is projected lies behind the minute it is projected at, what was made does not. An event's
    row begins with the old state at its own minute.
    """
    made_before = move.before_min is not None and move.before_min <= move.at_min
    open_after = move.after_min is None or move.after_min > move.at_min
    return move.cause == EVENT and made_before and open_after


def shown_totals(shares: Sequence[Share]) -> TotalsShown:
    """What rows add up to, by cause, department and kind of retake."""
    retaken = [share for share in shares if share.retake_kind is not None]
    return TotalsShown(
        in_all=_sum(shares),
        by_cause=[
            extended(CauseSumShown, sums, cause=cause, type=type_)
            for (cause, type_), sums in _by(shares, lambda one: (one.cause, one.type))
        ],
        by_department=[
            extended(DepartmentSumShown, sums, department=department)
            for (department,), sums in _by(shares, lambda one: (one.department,))
        ],
        by_retake_kind=[
            extended(KindSumShown, sums, retake_kind=kind)
            for (kind,), sums in _by(retaken, lambda one: (one.retake_kind,))
        ],
    )


Group = tuple[str | None, ...]


def _by(
    shares: Iterable[Share], group_of: Callable[[Share], Group]
) -> list[tuple[Group, SumShown]]:
    """What the shares of each group add up to, those that lost most first."""
    gathered: dict[Group, list[Share]] = {}
    for share in shares:
        if share.moves:
            gathered.setdefault(group_of(share), []).append(share)
    sums = [(group, _sum(some)) for group, some in gathered.items()]
    return sorted(sums, key=lambda one: (-one[1].minutes_net, *map(str, one[0])))


def _sum(shares: Iterable[Share]) -> SumShown:
    moves = lost_min = gained_min = 0
    for share in shares:
        moves += share.moves
        lost_min += share.lost_min
        gained_min += share.gained_min
    return SumShown(
        moves=moves,
        minutes_lost=lost_min,
        minutes_gained=gained_min,
        minutes_net=lost_min - gained_min,
        days_lost=shown_days(lost_min),
        days_gained=shown_days(gained_min),
        days_net=shown_days(lost_min - gained_min),
    )


TRAIL = page_of(MoveShown, "TrailPage")
TOTALS = answer_of(TotalsShown, "TrailTotals")
