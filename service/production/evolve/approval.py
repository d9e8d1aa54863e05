"""What asking about a design, and the answer, change."""

from service.production.evolve.entering import enter_move
from service.production.evolve.marking import mark_irregular
from service.production.evolve.retakes import retake_called
from service.production.marks import NOT_ASKED
from service.production.route import APPROVAL
from service.production.state import Answer, Draft, Element, visit_of
from service.production.visits import Move
from service.vocabulary.event import Event
from service.vocabulary.facts import approval as facts
from service.vocabulary.facts.retakes import RetakeCalled


def approval_asked(draft: Draft, event: Event, fact: facts.ApprovalAsked) -> None:
    """The answer is waited for."""
    node = (event.subject, APPROVAL)
    enter_move(draft, event, node, Move.START)
    mark_irregular(draft, event, node)
    element = draft.elements[event.subject]
    draft.elements[event.subject] = element._replace(asked_of=fact.of)


def approval_given(draft: Draft, event: Event, fact: facts.ApprovalGiven) -> None:
    """Scenes may use the design."""
    node = (event.subject, APPROVAL)
    _mark_unasked(draft, event)
    enter_move(draft, event, node, Move.HAND_OFF)
    _answered(draft, event, Answer(event.position, event.time_us, "given", fact.by))


def approval_refused(draft: Draft, event: Event, fact: facts.ApprovalRefused) -> None:
    """The design goes back as by a retake, and so does whatever was made of it already."""
    _mark_unasked(draft, event)
    call = refusal(event, draft.elements[event.subject], fact)
    retake_called(draft, event, call)
    answer = Answer(event.position, event.time_us, "refused", fact.by, call.retake)
    _answered(draft, event, answer)


def refusal(event: Event, element: Element, fact: facts.ApprovalRefused) -> RetakeCalled:
    """The retake that a refusal calls: scenes wait for it, so it must be fixed."""
    kind = element.route.kinds[element.kind]
    return RetakeCalled(
        retake=fact.retake or f"refused-{event.position}",
        kind="correction",
        urgency="must-fix",
        back_to=fact.back_to or kind.departments[0],
        strands=(kind.strand,),
        share_e4=fact.share_e4,
        asked_by=fact.by,
    )


def _mark_unasked(draft: Draft, event: Event) -> None:
    node = (event.subject, APPROVAL)
    if visit_of(draft, *node).take_open(event.time_us).started_us < 0:
        mark_irregular(draft, event, node, NOT_ASKED)


def _answered(draft: Draft, event: Event, answer: Answer) -> None:
    element = draft.elements[event.subject]
    draft.elements[event.subject] = element._replace(answers=(*element.answers, answer))
