"""The approval of designs."""

from service.production.approval import needs_approval
from service.production.asking import Reasons, legal
from service.production.entering import enter_move, try_move
from service.production.marking import mark_irregular
from service.production.marks import NOT_ASKED
from service.production.nouns.retakes import apply_retake_called, calls, reach_of
from service.production.nouns.rule import Rule
from service.production.reach import was_begun
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL
from service.production.state import Answer, Draft, Element, visit_of
from service.production.takes import Phase
from service.production.visits import Illegal, Move, Visit
from service.vocabulary.event import Event
from service.vocabulary.facts.approval import ApprovalAsked, ApprovalGiven, ApprovalRefused
from service.vocabulary.facts.retakes import RetakeCalled

_AGAINST = {
    (Phase.ON_DESK, Move.START): "is asked about already; record the answer first",
    (Phase.HANDED_OFF, Move.START): "is approved; call a retake on it to have it asked about again",
    (Phase.HANDED_OFF, Move.HAND_OFF): "is approved already",
}


def check_approval_asked(draft: Draft, event: Event, fact: ApprovalAsked) -> Reasons:
    """A design is asked about once at a time, and no more once it is approved."""
    against = list(_the_design(draft, event.subject))
    yield from against
    if not against:
        yield from _legal(event, try_move(draft, event, (event.subject, APPROVAL), Move.START))


def apply_approval_asked(draft: Draft, event: Event, fact: ApprovalAsked) -> None:
    """Start the visit at `approval`, which lasts until the answer."""
    node = (event.subject, APPROVAL)
    enter_move(draft, event, node, Move.START)
    mark_irregular(draft, event, node)
    element = draft.elements[event.subject]
    draft.elements[event.subject] = element._replace(asked_of=fact.of)


def _say_approval_asked(event: Event, fact: ApprovalAsked) -> str:
    return f"Approval of the design of {event.subject} was asked of {fact.of}."


def check_approval_given(draft: Draft, event: Event, fact: ApprovalGiven) -> Reasons:
    """A design is approved once; without being asked it is only unusual."""
    against = list(_the_design(draft, event.subject))
    yield from against
    if not against:
        yield from _legal(event, try_move(draft, event, (event.subject, APPROVAL), Move.HAND_OFF))


def apply_approval_given(draft: Draft, event: Event, fact: ApprovalGiven) -> None:
    """Hand off the visit at `approval`: scenes may use the design."""
    node = (event.subject, APPROVAL)
    _mark_unasked(draft, event)
    enter_move(draft, event, node, Move.HAND_OFF)
    _answered(draft, event, Answer(event.position, event.time_us, "given", fact.by))


def _say_approval_given(event: Event, fact: ApprovalGiven) -> str:
    return f"The design of {event.subject} was approved by {fact.by}."


def check_approval_refused(draft: Draft, event: Event, fact: ApprovalRefused) -> Reasons:
    """A design that is not approved may be refused, once for each time it is asked about."""
    against = list(_the_design(draft, event.subject))
    if not against:
        element = draft.elements[event.subject]
        against = [*_back(element, event.subject, fact), *_open_to_refusal(draft, event, element)]
        call = refusal(event, element, fact)
        if call.retake in draft.retakes:
            detail = f"retake {call.retake} is called already; give a code that is new"
            against.append(Reason(Code.EXISTS, detail, "/data/retake"))
        if not against:
            against += calls(draft, event, call.retake, reach_of(draft, event, call).reached)
    yield from against


def apply_approval_refused(draft: Draft, event: Event, fact: ApprovalRefused) -> None:
    """The design goes back as by a retake, and so does whatever was made of it already."""
    _mark_unasked(draft, event)
    call = refusal(event, draft.elements[event.subject], fact)
    apply_retake_called(draft, event, call)
    answer = Answer(event.position, event.time_us, "refused", fact.by, call.retake)
    _answered(draft, event, answer)


def _say_approval_refused(event: Event, fact: ApprovalRefused) -> str:
    return f"The design of {event.subject} was refused by {fact.by}; it goes back."


def _the_design(draft: Draft, item: str) -> Reasons:
    element = draft.elements.get(item)
    if element is None:
        detail = f"element {item} is not in the record; list it first"
        yield Reason(Code.UNKNOWN, detail, "/subject")
    elif not needs_approval(element):
        yield Reason(
            Code.CONTRADICTION,
            f"{item} needs no approval: the route under which it was listed asks for none of a "
            f"{element.kind}",
            "/subject",
        )


def _back(element: Element, item: str, fact: ApprovalRefused) -> Reasons:
    made_by = element.departments[:-1]
    if fact.back_to is not None and fact.back_to not in made_by:
        yield Reason(
            Code.NOT_ON_ROUTE,
            f"{fact.back_to} does not make {item}; say one of {', '.join(made_by)}",
            "/data/back_to",
        )


def _open_to_refusal(draft: Draft, event: Event, element: Element) -> Reasons:
    item = event.subject
    visit = visit_of(draft, item, APPROVAL)
    take = visit.take_open(event.time_us)
    if visit.current.opened_us == event.time_us:
        take = visit.current  # it went back in this very instant
    # an approval of the same instant gives way to what is recorded later
    if take.phase is Phase.HANDED_OFF and take.ended_us < event.time_us:
        yield Reason(
            Code.ILLEGAL_MOVE, f"{item} was approved; call a retake on it, a revision", "/subject"
        )
    elif take.phase is Phase.TAKEN_BACK or (take.phase is Phase.WAITING and take.number > 1):
        yield Reason(
            Code.ILLEGAL_MOVE,
            f"{item} has not been asked about since it went back; ask first",
            "/subject",
        )
    elif not any(was_begun(draft, (item, name)) for name in element.departments):
        yield Reason(
            Code.CONTRADICTION, f"{item} is not begun, so there is nothing to refuse", "/subject"
        )


def _legal(event: Event, tried: Visit | Illegal) -> Reasons:
    """What the table of moves says against it, in the words of approval."""
    node = (event.subject, APPROVAL)
    detail = None
    if isinstance(tried, Illegal) and tried.entry.position == event.position:
        detail = _AGAINST.get((tried.take.phase, tried.entry.move))
    if detail is None:
        yield from legal(event, node, tried)
    else:
        yield Reason(Code.ILLEGAL_MOVE, f"{event.subject} {detail}", "/subject")


def refusal(event: Event, element: Element, fact: ApprovalRefused) -> RetakeCalled:
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


RULES = {
    "approval.asked": Rule(check_approval_asked, apply_approval_asked, _say_approval_asked),
    "approval.given": Rule(check_approval_given, apply_approval_given, _say_approval_given),
    "approval.refused": Rule(check_approval_refused, apply_approval_refused, _say_approval_refused),
}
