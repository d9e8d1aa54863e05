"""What may be said of the approval of designs."""

from service.production.approval import needs_approval
from service.production.decide.asking import Reasons, legal
from service.production.decide.retakes import calls
from service.production.evolve.approval import refusal
from service.production.evolve.entering import try_move
from service.production.evolve.retakes import reach_of
from service.production.reach import was_begun
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL
from service.production.state import Draft, Element, visit_of
from service.production.visits import Illegal, Move, Phase, Visit
from service.vocabulary.event import Event
from service.vocabulary.facts import approval as facts

_AGAINST = {
    (Phase.ON_DESK, Move.START): "is asked about already; record the answer first",
    (Phase.HANDED_OFF, Move.START): "is approved; call a retake on it to have it asked about again",
    (Phase.HANDED_OFF, Move.HAND_OFF): "is approved already",
}


def approval_asked(draft: Draft, event: Event, fact: facts.ApprovalAsked) -> Reasons:
    """A design is asked about once at a time, and no more once it is approved."""
    against = list(_the_design(draft, event.subject))
    yield from against
    if not against:
        yield from _legal(event, try_move(draft, event, (event.subject, APPROVAL), Move.START))


def approval_given(draft: Draft, event: Event, fact: facts.ApprovalGiven) -> Reasons:
    """A design is approved once; without being asked it is only unusual."""
    against = list(_the_design(draft, event.subject))
    yield from against
    if not against:
        yield from _legal(event, try_move(draft, event, (event.subject, APPROVAL), Move.HAND_OFF))


def approval_refused(draft: Draft, event: Event, fact: facts.ApprovalRefused) -> Reasons:
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


def _back(element: Element, item: str, fact: facts.ApprovalRefused) -> Reasons:
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
    said = None
    if isinstance(tried, Illegal) and tried.entry.position == event.position:
        said = _AGAINST.get((tried.take.phase, tried.entry.move))
    if said is None:
        yield from legal(event, node, tried)
    else:
        yield Reason(Code.ILLEGAL_MOVE, f"{event.subject} {said}", "/subject")
