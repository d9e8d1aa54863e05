"""Departments and trays as answers show them."""

from marshmallow import fields

from service.planning.plan.tray import SECTIONS
from service.vocabulary import kinds
from service.vocabulary.cautions import PEOPLE
from service.vocabulary.facts.office import UNITS
from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.fields import field_of
from service.web.schemas.reading import (
    PageQuery,
    StoppedShown,
    choice,
    day,
    flag,
    moment,
    one,
    page_shown,
    quantity,
    whole,
    word,
    words,
)
from service.web.schemas.visits import HoldShown, VisitShown, counts_shown

DepartmentCountsShown = counts_shown(
    ("in_tray", "on_desk", "held", "ahead"), "DepartmentCountsShown"
)


class TrayQuery(PageQuery):
    """Arguments of a department's tray."""

    section = fields.List(
        query.one_of(SECTIONS),
        load_default=("on_desk", "in_tray"),
        metadata=described(
            "Which sections, each said by itself, in the order wanted: on_desk, in_tray, held, "
            "ahead. Left out: on_desk and in_tray."
        ),
    )
    artist = field_of(kinds.CODE, note=f"Only what this artist has, or was given: a code. {PEOPLE}")
    episode = query.subject("Only items that belong to this episode.")


class CrewShown(Shown):
    """A crew in force."""

    artists = whole("How many artists.")
    units_per_artist_day = quantity("What one artist does in a day.")
    minutes_per_artist_day = whole("Working minutes of an artist's day.")
    from_on = day("Since when.", none=False)


class OverdueShown(Shown):
    """How many of a department's visits are overdue, and since when the longest one is."""

    on_desk = whole("How many on its desks are past their time.")
    on_desk_since_at = moment("Since when the longest of them; null: none is.")
    held = whole(
        "How many are of scenes held for an answer whose day is over: held here, or on its desks."
    )
    held_since_at = moment("Since when the longest of them; null: none is.")


class DepartmentShown(Shown):
    """A department: its crew, its trays, its open work."""

    department = word("The department.")
    unit = choice(UNITS, "What its work is counted in.")
    crew = one(CrewShown, "The crew in force; null: none yet.", none=True)
    stopped = one(StoppedShown, "The stoppage that lasts; null: it works.", none=True)
    visits = one(DepartmentCountsShown, "How many open visits stand where.")
    overdue = one(OverdueShown, "How many of them are overdue, and since when.")
    open_work = quantity("Work still to be done, in its unit; of what is on desks, the rest.")
    open_artist_days = quantity("The same in artist-days at the rate in force.", none=True)


class TrayVisitShown(VisitShown):
    """One visit in working order."""

    item = word("The scene, element or episode.")
    episodes = words("The undelivered episodes it is for.")
    due_on = day("The earliest delivery date among them.")
    priority = whole("The priority in force; higher goes first.")
    put_first = flag("Whether an order puts it first.")
    hold = one(HoldShown, "What its scene waits for.", none=True)


TRAY_QUERY = TrayQuery()
DEPARTMENTS = page_shown(DepartmentShown, "DepartmentsPage")
TRAY = page_shown(
    TrayVisitShown,
    "TrayPage",
    department=word("The department."),
    unit=choice(UNITS, "What its work is counted in."),
    visits=one(DepartmentCountsShown, "How many open visits stand where, whatever is asked for."),
    overdue=one(OverdueShown, "How many of them are overdue, and since when, likewise."),
)
