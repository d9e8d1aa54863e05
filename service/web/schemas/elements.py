"""Elements, and where their approval stands, as answers show them."""

from marshmallow import fields

from service.production.approval import STANDINGS
from service.vocabulary import kinds
from service.vocabulary.facts.approval import APPROVERS
from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.fields import field_of
from service.web.schemas.reading import (
    PageQuery,
    choice,
    moment,
    one,
    page_shown,
    several,
    whole,
    with_position,
    word,
    words,
)
from service.web.schemas.visits import VisitShown


class ElementsQuery(PageQuery):
    """Arguments of the list of a show's elements."""

    kind = field_of(kinds.CODE, note="Only elements of this kind.")
    approval = fields.List(
        query.one_of(STANDINGS),
        metadata=described(
            "Only elements whose approval stands so, each said by itself: ahead (still being "
            "made), to_ask (made, nobody is asked), asked, given, refused (being made again)."
        ),
    )


class AnswerShown(Shown):
    """An answer to a design that was asked about."""

    answer = choice(("given", "refused"), "What it was.")
    by = choice(APPROVERS, "In whose name.")
    at = moment("When.", none=False)
    position = whole("The event's position.")
    retake = word("The retake that a refusal called.", none=True)


class ApprovalShown(Shown):
    """Where the approval of an element stands."""

    standing = choice(STANDINGS, "Where it stands.")
    before = word("Scenes that use it wait for the approval before this department.")
    days = whole("How many working days the answer usually takes.")
    asked_of = choice(APPROVERS, "Who was asked last; null: nobody.", none=True)
    asked_at = moment("Since when an answer is waited for; null: nobody is asked.")
    answer_expected_at = moment("When the plan has the answer; null once it is given.")
    overdue_since_at = moment("When the answer should have come, where that is over; null before.")
    answers = several(AnswerShown, "The answers so far, in the order in which they were recorded.")


class ElementShown(Shown):
    """Something made once and used by several scenes."""

    element = word("The element.")
    kind = word("Its kind.")
    title = word("Its title.", none=True)
    drawings = whole("How many drawings.")
    frames = whole("Its length in frames; 0 where it has none.")
    priority = whole("Its priority; higher goes first.")
    scenes = words("The scenes that use it.")
    approval = one(ApprovalShown, "Its approval; null: its kind needs none.", none=True)
    projected_finish_at = moment("When the last of its visits is, or was, handed off.")
    visits = several(VisitShown, "Its visits, in order; the last, approval, if it needs one.")


ELEMENTS_QUERY = ElementsQuery()
ELEMENTS = page_shown(ElementShown, "ElementsPage")
ELEMENT = with_position(ElementShown, "ElementAnswer")
