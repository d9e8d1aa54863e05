"""Stoppages of departments as answers show them, and what plans suppose of them."""

from collections.abc import Iterable

from service.planning.plan.schedule import Supposition
from service.vocabulary.instants import format_instant
from service.web.answers import StoppedShown, SuppositionShown, extended
from service.web.nouns.values import shown_min, shown_us


def shown_stopped(stopped: Supposition) -> StoppedShown:
    """A stoppage that lasts, and what the plan supposes of its end."""
    return StoppedShown(
        since_at=format_instant(stopped.stopped_us),
        expected_end_at=shown_us(stopped.expected_end_us),
        taken_to_end_at=shown_min(stopped.end_min),
        overdue_since_at=shown_us(stopped.expected_end_us) if stopped.overdue else None,
    )


def shown_suppositions(supposed: Iterable[Supposition]) -> list[SuppositionShown]:
    """What a plan supposes of departments that do not work."""
    return [
        extended(SuppositionShown, shown_stopped(one), department=one.department)
        for one in supposed
    ]
