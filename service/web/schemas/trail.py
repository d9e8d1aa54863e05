"""The date trail as answers show it."""

from marshmallow import fields, validate

from service.planning.compare.trail import CAUSES
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.facts.retakes import KINDS
from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.fields import said
from service.web.schemas.messages import Told
from service.web.schemas.reading import (
    PageQuery,
    ReadQuery,
    choice,
    flag,
    moment,
    one,
    page_shown,
    quantity,
    several,
    whole,
    with_position,
    word,
)
from service.web.strict_json import WHOLE_MAX

_CAUSE = Told("not-a-choice", "Write event, time, or a type of event listed in /openapi.json.")


class TrailQuery(PageQuery):
    """Arguments of a trail."""

    cause = fields.String(
        error_messages=said(_CAUSE),
        validate=validate.OneOf((*CAUSES, *CATALOGUE), error=_CAUSE),
        metadata=described("Only rows of this cause: event, time, or a type of event."),
    )
    from_position = query.counted(
        0, WHOLE_MAX, "Only rows from this position of the log on.", load_default=0
    )
    until_position = query.counted(0, WHOLE_MAX, "Only rows up to this position of the log.")


class TotalsQuery(ReadQuery):
    """Arguments of the totals of a studio."""

    show = fields.String(metadata=described("Only the episodes of this show."))


class MoveShown(Shown):
    """One change of an episode's projected delivery, and what caused it."""

    number = whole("Its place in the episode's trail, from 1.")
    at = moment("The minute: of the event's recording, or up to which time had passed.", none=False)
    position = whole("The event's; where time passed, that of the last event before.")
    cause = choice(CAUSES, "An event, or time passing.")
    type = word("The event's type; null where time passed.", none=True)
    subject = word("The event's subject; null where time passed.", none=True)
    retake = word("The retake that the event is about, or that it struck.", none=True)
    retake_kind = choice(KINDS, "The kind of that retake.", none=True)
    department = word("The event's department, or the one that was waited for.", none=True)
    waited_for = word(
        "Where time passed, the item that the delivery waited for: the first visit of its critical "
        "chain, on a desk or not started yet.",
        none=True,
    )
    delivery_before = moment("The projected delivery before; null where it could not be said.")
    delivery_after = moment("The same after; of a delivered episode, when it was delivered.")
    delta_minutes = whole(
        "By how much it moved from the last delivery that could be said, later is positive; null "
        "where there is nothing to compare. They add up exactly.",
        none=True,
    )
    delta_days = quantity("The same in days of 24 hours, by two decimals.", none=True)
    reopened = flag(
        "Whether the delivery had been made, all that meets it handed off, and is open again. It "
        "moves from when it was made, so days in which nothing was owed are in the row."
    )
    provisional = flag(
        "Whether the row may be grouped otherwise later, its minute not being over; where time "
        "passed up to now, it grows until something is recorded."
    )


class SumShown(Shown):
    """What some rows of a trail add up to."""

    moves = whole("How many rows moved a date.")
    minutes_lost = whole("By how much in all they moved it later.")
    minutes_gained = whole("By how much in all they moved it earlier.")
    minutes_net = whole("Lost less gained.")
    days_lost = quantity("Lost, in days of 24 hours.")
    days_gained = quantity("Gained, in days of 24 hours.")
    days_net = quantity("Net, in days of 24 hours.")


class CauseSumShown(SumShown):
    """What came of one cause."""

    cause = choice(CAUSES, "An event, or time passing.")
    type = word("The type of event.", none=True)


class DepartmentSumShown(SumShown):
    """What came of one department."""

    department = word("The department; null for what is of none.", none=True)


class KindSumShown(SumShown):
    """What came of retakes of one kind."""

    retake_kind = choice(KINDS, "The kind.")


class TotalsShown(Shown):
    """What moved dates, added up; by net days, the greatest loss first."""

    in_all = one(SumShown, "Everything.")
    by_cause = several(CauseSumShown, "By what caused it.")
    by_department = several(DepartmentSumShown, "By department.")
    by_retake_kind = several(KindSumShown, "By kind of retake, events about retakes alone.")


TRAIL_QUERY = TrailQuery()
TRAIL = page_shown(MoveShown, "TrailPage")
TOTALS_QUERY = TotalsQuery()
TOTALS = with_position(TotalsShown, "TrailTotals")
