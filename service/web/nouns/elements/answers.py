"""Elements as JSON shows them."""

from collections.abc import Sequence
from typing import Annotated

from service.planning.plan.standing import Standings, Stands
from service.production.approval import STANDINGS, approval_standing
from service.production.route import APPROVAL
from service.production.state import Element
from service.vocabulary.facts.approval import APPROVERS
from service.vocabulary.identifiers import natural_order
from service.vocabulary.instants import format_instant
from service.web.answers import Instant, Shown, answer_of, note, one_of, page_of
from service.web.nouns.values import shown_min, shown_us
from service.web.nouns.visits import VisitShown, shown_visit


class AnswerShown(Shown):
    """An answer to a design that was asked about."""

    answer: Annotated[str, one_of(("given", "refused"), "What it was.")]
    by: Annotated[str, one_of(APPROVERS, "In whose name.")]
    at: Annotated[Instant, note("When.")]
    position: Annotated[int, note("The event's position.")]
    retake: Annotated[str | None, note("The retake that a refusal called.")]


class ApprovalShown(Shown):
    """Where the approval of an element stands."""

    standing: Annotated[str, one_of(STANDINGS, "Where it stands.")]
    before: Annotated[str, note("Scenes that use it wait for the approval before this department.")]
    days: Annotated[int, note("How many working days the answer usually takes.")]
    asked_of: Annotated[
        str | None, one_of(APPROVERS, "Who was asked last; null: nobody.", none=True)
    ]
    asked_at: Annotated[
        Instant | None, note("Since when an answer is waited for; null: nobody is asked.")
    ]
    answer_expected_at: Annotated[
        Instant | None, note("When the plan has the answer; null once it is given.")
    ]
    overdue_since_at: Annotated[
        Instant | None, note("When the answer should have come, where that is over; null before.")
    ]
    answers: Annotated[
        list[AnswerShown], note("The answers so far, in the order in which they were recorded.")
    ]


class ElementShown(Shown):
    """Something made once and used by several scenes."""

    element: Annotated[str, note("The element.")]
    kind: Annotated[str, note("Its kind.")]
    title: Annotated[str | None, note("Its title.")]
    drawings: Annotated[int, note("How many drawings.")]
    frames: Annotated[int, note("Its length in frames; 0 where it has none.")]
    priority: Annotated[int, note("Its priority; higher goes first.")]
    scenes: Annotated[Sequence[str], note("The scenes that use it.")]
    approval: Annotated[ApprovalShown | None, note("Its approval; null: its kind needs none.")]
    projected_finish_at: Annotated[
        Instant | None, note("When the last of its visits is, or was, handed off.")
    ]
    visits: Annotated[
        list[VisitShown], note("Its visits, in order; the last, approval, if it needs one.")
    ]


def shown_element(standings: Standings, name: str, element: Element) -> ElementShown:
    """An element with its visits."""
    return ElementShown(
        element=name,
        kind=element.kind,
        title=element.title,
        drawings=element.drawings,
        frames=element.frames,
        priority=element.priority,
        scenes=sorted(element.scenes, key=natural_order),
        approval=_shown_approval(standings, name, element),
        projected_finish_at=shown_min(standings.finish_min(name)),
        visits=[shown_visit(visit) for visit in standings.visits(name)],
    )


def _shown_approval(standings: Standings, name: str, element: Element) -> ApprovalShown | None:
    needed = element.route.kinds[element.kind].approval
    if needed is None:
        return None
    visit = standings.visit(name, APPROVAL)
    is_asked = visit.stands is Stands.ON_DESK
    return ApprovalShown(
        standing=approval_standing(standings.state, name, element) or "",
        before=needed.before,
        days=needed.days,
        asked_of=element.asked_of or None,
        asked_at=shown_us(visit.started_us) if is_asked else None,
        answer_expected_at=shown_min(visit.projected_finish_min),
        overdue_since_at=shown_min(visit.overdue_since_min),
        answers=[
            AnswerShown(
                answer=answer.answer,
                by=answer.by,
                at=format_instant(answer.at_us),
                position=answer.position,
                retake=answer.retake or None,
            )
            for answer in element.answers
        ],
    )


ELEMENTS = page_of(ElementShown, "ElementsPage")
ELEMENT = answer_of(ElementShown, "ElementAnswer")
