"""Visits, holds and lengths as answers show them."""

from marshmallow import Schema

from service.planning.plan.standing import STANDS
from service.vocabulary.cautions import PEOPLE
from service.web.schemas.common import Shown
from service.web.schemas.reading import (
    choice,
    day,
    flag,
    moment,
    quantity,
    several,
    whole,
    word,
    words,
)


class NodeShown(Shown):
    """A visit that is only named."""

    item = word("The scene, element or episode.")
    department = word("The department.")


class VisitShown(Shown):
    """One item's stay at one department: its newest take."""

    department = word("The department.")
    take = whole("Its newest take.")
    state = choice(STANDS, "Where it stands.")
    work = quantity("The work of this take, in the department's unit.")
    unit = word("The department's unit.")
    artist = word(f"Who has it, or was given it, as an opaque code. {PEOPLE}", none=True)
    started_at = moment("When this take was started.")
    handed_off_at = moment("When this take was handed off.")
    projected_start_at = moment("When the plan has it start; null once it is on a desk.")
    projected_finish_at = moment("When the plan has it handed off; null once it is.")
    latest_finish_at = moment(
        "The latest finish that still holds the delivery dates behind it; 1900-01-01T00:00:00Z "
        "also where it lies before. null: nothing is due behind it."
    )
    overdue_since_at = moment(
        "On a desk: when its work should have been done, counted from its start in working time at "
        "the rate of then. Held: the end of the day by which the answer was due. At approval: when "
        "the answer should have come. null: it is in time, or lies nowhere."
    )
    float_workdays = whole(
        "Working days it can slip before a delivery date is missed. Counted without crews: "
        "crews can eat it.",
        none=True,
    )
    must_fix = flag("Whether a must-fix retake reopened it.")
    waits_for_approval = words(
        "The elements that must be approved before it is handed off, and are not.", required=False
    )
    marks = words("What is unusual about its record, such as late.", required=False)
    retakes = words("The retakes that ask for this take.", required=False)
    because = several(
        NodeShown, "From the visit that the retake names to this one.", required=False
    )


class HoldShown(Shown):
    """What a scene waits for."""

    owes = word("Who owes the answer.")
    by_on = day("By when; the plan lets it go on the day after.", none=False)
    since_at = moment("Since when.", none=False)
    overdue_since_at = moment("The end of the day `by_on` where it is over; null before.")


class LengthShown(Shown):
    """A length."""

    frames_in_all = whole("The length in frames.")
    feet = whole("Whole 35 mm feet: 16 frames each.")
    frames = whole("Frames beyond the whole feet.")
    timecode = word(
        "The same as SMPTE time code at the show's rate; a semicolon where numbers are dropped."
    )


def counts_shown(names: tuple[str, ...], name: str) -> type[Schema]:
    """How many visits stand where."""
    return Shown.from_dict({one: whole(f"How many are {one}.") for one in names}, name=name)


CountsShown = counts_shown(tuple(STANDS), "CountsShown")
