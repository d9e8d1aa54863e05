"""Retakes as answers show them."""

from service.planning.plan.standing import STANDS
from service.production.visits import Phase
from service.vocabulary import kinds
from service.vocabulary.cautions import BLAME, PEOPLE
from service.vocabulary.facts.retakes import ASKERS, KINDS, URGENCIES
from service.web.schemas import query
from service.web.schemas.common import Shown
from service.web.schemas.fields import field_of
from service.web.schemas.reading import (
    PageQuery,
    choice,
    moment,
    one,
    page_shown,
    quantity,
    several,
    whole,
    with_position,
    word,
    words,
)
from service.web.schemas.scenes import STANDINGS
from service.web.schemas.visits import NodeShown


class RetakesQuery(PageQuery):
    """Arguments of the list of retakes."""

    show = field_of(kinds.SHOW_CODE, note="Only retakes called in this show.")
    episode = query.subject("Only retakes that reach this episode or its scenes.")
    standing = query.one_of(
        STANDINGS, "Only those that stand, were withdrawn, or were bought as is."
    )


class RetakeShown(Shown):
    """A call that reopens visits."""

    retake = word("Its code.")
    subject = word("What it was called on.")
    position_called = whole("The position of the call.")
    called_at = moment("When it was called.", none=False)
    kind = choice(KINDS, "The kind of call.")
    urgency = choice(URGENCIES, "How badly it is wanted.")
    back_to = word("From which department on.")
    strands = words("What is touched.")
    items = words("What it names.")
    share = quantity("The share of the drawings touched; of several items, the largest.")
    drawings = whole("How many drawings, where the call says it so.", none=True)
    found_at = word("Where it was found.", none=True)
    fault_of = word(f"Whose fault it is. {BLAME}", none=True)
    asked_by = choice(ASKERS, "Who asks for it.")
    called_by = word("The role that called it; null: recorded before roles were.", none=True)
    standing = choice(STANDINGS, "Whether it still stands.")
    reopened = whole("How many visits have a take that it asks for.")
    open = whole("How many of those are planned and not handed off.")
    not_planned = whole(
        "How many more are not handed off and not planned, since their scenes are omitted or their "
        "episodes delivered."
    )
    unanswered = whole("How many scenes still wait to be looked at.")


class ReachedShown(Shown):
    """A visit in a retake's reach."""

    item = word("The scene, element or episode.")
    department = word("The department.")
    share = quantity("The share of it that is touched.")
    via = one(NodeShown, "From which visit it was reached; null: the call names it.", none=True)


class TakeShown(Shown):
    """A take that a retake asks for."""

    item = word("The scene, element or episode.")
    department = word("The department.")
    take = whole("Its number.")
    state = choice((*STANDS, Phase.TAKEN_BACK.value), "Where it stands.")
    work = quantity("Its work, in the department's unit.")
    unit = word("The department's unit.")
    artist = word(f"Who has it, as an opaque code. {PEOPLE}", none=True)
    started_at = moment("When it was started.")
    handed_off_at = moment("When it was handed off.")
    projected_finish_at = moment("When the plan has it handed off.")
    overdue_since_at = moment("Since when it is overdue, on a desk or held; null: in time.")
    because = several(NodeShown, "From the visit that the retake names to this one.")


class LookAtShown(Shown):
    """A scene that somebody must look at."""

    scene = word("The scene.")
    reason = choice(("hook-up", "marked"), "Why.")
    beside = words("The scenes in reach that it must match.")
    via = several(NodeShown, "Where a redo would begin by default.")
    answer = choice(("fine", "redo"), "The answer; null: none yet.", none=True)


class WholeRetakeShown(RetakeShown):
    """A call with all that follows from it."""

    why = word("What is wrong; null where it may not be read.", none=True)
    reach = several(ReachedShown, "The visits in reach, nearest first.")
    takes = several(TakeShown, "The takes it asks for.")
    to_look_at = several(LookAtShown, "Scenes to look at.")


RETAKES_QUERY = RetakesQuery()
RETAKES = page_shown(RetakeShown, "RetakesPage")
RETAKE = with_position(WholeRetakeShown, "RetakeAnswer")
