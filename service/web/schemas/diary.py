"""An episode's diary as answers show it."""

from marshmallow import fields

from service.planning.compare.diary import CHANGES
from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.reading import (
    ReadQuery,
    SuppositionShown,
    choice,
    day,
    flag,
    moment,
    one,
    page_shown,
    several,
    whole,
    word,
)
from service.web.schemas.reading import (
    words as words_,
)

ENTRIES_MAX = 200


class DiaryQuery(ReadQuery):
    """Arguments of a diary."""

    cursor = query.cursor()
    limit = query.limit(ENTRIES_MAX, 50)


class TakeChangeShown(Shown):
    """What became of a take."""

    item = word("The item: the episode, a scene or an element.")
    department = word("Where.")
    take = whole("Which take.")
    change = choice(CHANGES, "What became of it.")


class DeliveryMoveShown(Shown):
    """The episode's projected delivery by the plans of the moment at which it was recorded."""

    before = day("Without the event; null where it cannot be said.")
    after = day("With it.")
    open_before = flag(
        "Whether something that meets it was not handed off without the event; else `before` is "
        "when the delivery was made. null: there was no such episode.",
        none=True,
    )
    open_after = flag("The same with it.", none=True)
    margin_workdays_before = whole("Working days to the date that is set; null: none.", none=True)
    margin_workdays_after = whole("The same with it.", none=True)


class NoPlanShown(Shown):
    """A fault in the service that keeps plans from being made."""

    item = word("The item that it was met at; null: no single one's.", none=True)


class EntryShown(Shown):
    """An event about the episode, and what it changed as the record was then."""

    position = whole("Its position.")
    time = moment("When it happened.", none=False)
    recordedat = moment("When the log took it.", none=False)
    poster = word("The token that recorded it.")
    role = word("The role of that token; null in the oldest records.", none=True)
    type = word("Its type.")
    subject = word("What it is about.")
    sentence = word("What it says.")
    words = fields.Dict(
        keys=fields.String(),
        required=True,
        metadata=described("What people wrote, by JSON pointer, as far as it may be read."),
    )
    withheld = flag("Whether what it says is kept from this role.")
    marks = words_(
        "How it was marked when it was recorded; of a withheld one, only that it is late."
    )
    late = flag("Whether it was recorded later than a fact of the same subject that came after.")
    struck_at = whole("The strike by which it does not count any more; null: it stands.", none=True)
    changes = several(TakeChangeShown, "Takes of this episode and its elements that it changed.")
    delivery = one(
        DeliveryMoveShown, "null where no plan depends on it, or none could be made.", none=True
    )
    suppositions = several(
        SuppositionShown,
        "Departments that did not work then, and when the plan with the event took them to go on; "
        "empty where there is no `delivery`.",
    )
    no_plan = one(
        NoPlanShown,
        "That no plan could be made of the record as it was then; else null.",
        none=True,
    )


DIARY_QUERY = DiaryQuery()
DIARY = page_shown(EntryShown, "DiaryPage")
