"""The account of retakes as answers show it."""

from marshmallow import fields

from service.production.totals import GROUPS
from service.vocabulary import kinds
from service.vocabulary.cautions import BLAME
from service.vocabulary.facts import Role
from service.vocabulary.facts.retakes import ASKERS, KINDS, URGENCIES
from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.fields import AnyField, Matches, field_of, said
from service.web.schemas.messages import Told
from service.web.schemas.reading import (
    PageQuery,
    ReadQuery,
    choice,
    day,
    flag,
    page_shown,
    quantity,
    several,
    whole,
    with_position,
    word,
    words,
)
from service.web.schemas.scenes import STANDINGS

MONTH = r"^[0-9]{4}-(?:0[1-9]|1[0-2])$"
_MONTH = Told("not-a-month", "Write a month as YYYY-MM.")


def _filters() -> dict[str, AnyField]:
    return {
        "show": field_of(kinds.SHOW_CODE, note="Only retakes called in this show."),
        "episode": query.subject("Only what was redone in this episode."),
        "month": fields.String(
            error_messages=said(_MONTH),
            validate=Matches(MONTH, error=_MONTH),
            metadata=described("Only calls of this month in the studio's zone: YYYY-MM."),
        ),
        "kind": query.one_of(KINDS, "Only this kind of call."),
        "asked_by": query.one_of(ASKERS, "Only what these asked for."),
        "found_at": field_of(kinds.CODE, note="Only what was found there."),
        "called_by": query.one_of(Role, "Only what this role called."),
        "fault_of": query.department(f"Only what was this department's fault. {BLAME}"),
        "department": query.department("Only what this department redid."),
    }


class TotalsQuery(ReadQuery):
    """Arguments of the totals, beside the filters."""

    group_by = fields.List(
        query.one_of(GROUPS),
        load_default=(),
        metadata=described("What to group by, each said by itself; left out: all in one."),
    )


class AccountRowShown(Shown):
    """What one call had redone in one department, in one episode."""

    retake = word("The retake.")
    show = word("The show it was called in.")
    episode = word("The episode; null: an element, which several may share.", none=True)
    called_on = day("The day of the call, in the studio's zone; null: no calendar.")
    month = word("Its month, YYYY-MM.", none=True)
    kind = choice(KINDS, "The kind of call.")
    urgency = choice(URGENCIES, "How badly it is wanted.")
    standing = choice(STANDINGS, "Whether it still stands.")
    asked_by = choice(ASKERS, "Who asked for it.")
    found_at = word("Where it was found.", none=True)
    called_by = word("The role that called it; null: recorded before roles were.", none=True)
    fault_of = word(f"The department at which the fault arose. {BLAME}", none=True)
    department = word("The department that redid it; null: nothing was redone.", none=True)
    unit = word("What its work is counted in.", none=True)
    visits = whole("How many visits were reopened.")
    work = quantity("The work added, in that unit.")
    artist_days = quantity(
        "The same at the rate of the crew at the call; null: there was none.", none=True
    )
    rate = word("The price of a unit on the day of the call, as decimal text.", none=True)
    currency = word("ISO 4217; null: no card.", none=True)
    cost = word("What it cost, as decimal text; null: no rate gives it a price.", none=True)
    unpriced = flag("Whether there is work that no rate gives a price to.")


class WorkShown(Shown):
    """Work in a department's unit."""

    department = word("The department.")
    unit = word("What its work is counted in.")
    work = quantity("The work added.")


class TotalShown(Shown):
    """The sum of the rows of one group, in one currency."""

    of = fields.Dict(
        keys=fields.String(),
        values=fields.String(allow_none=True),
        required=True,
        metadata=described("The group's values; null where a row has none."),
    )
    retakes = whole("How many retakes have a row in it; one may have rows in several groups.")
    visits = whole("How many visits were reopened.")
    works = several(WorkShown, "The work added, by department.")
    artist_days = quantity("Artist-days, of departments that had a crew.")
    currency = word("ISO 4217; null: no card.", none=True)
    cost = word("The sum of what has a price, as decimal text.", none=True)
    unpriced = words("Departments whose work, or some of it, has no price and is not in `cost`.")
    uncrewed = words("Departments without a crew, which are not in `artist_days`.")


class TotalsShown(Shown):
    """The account in sums."""

    items = several(TotalShown, "A sum for each group and currency, in order.")


ACCOUNT_QUERY = PageQuery.from_dict(_filters(), name="AccountQuery")()
TOTALS_QUERY = TotalsQuery.from_dict(_filters(), name="AccountTotalsQuery")()
ACCOUNT = page_shown(AccountRowShown, "AccountPage")
TOTALS = with_position(TotalsShown, "AccountTotalsAnswer")
