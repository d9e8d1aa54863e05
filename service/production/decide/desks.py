"""What the desks may record."""

from service.production.decide.asking import Reasons, on_route, the_department, the_item, the_move
from service.production.graph import predecessors
from service.production.refusal import Code, Reason
from service.production.state import Draft, Element, Node, Scene, item_of, visit_of
from service.production.visits import Move
from service.vocabulary.event import Event
from service.vocabulary.facts import desks as facts


def hand_out_made(draft: Draft, event: Event, fact: facts.HandOutMade) -> Reasons:
    """A take that is not handed off may be given to an artist."""
    yield from the_move(draft, event, fact.department, Move.HAND_OUT, fact.take)


def work_started(draft: Draft, event: Event, fact: facts.WorkStarted) -> Reasons:
    """A take that waits may start."""
    yield from the_move(draft, event, fact.department, Move.START, fact.take)


def hand_off_made(draft: Draft, event: Event, fact: facts.HandOffMade) -> Reasons:
    """A take that is not handed off may be."""
    yield from the_move(draft, event, fact.department, Move.HAND_OFF, fact.take)


def hand_off_refused(draft: Draft, event: Event, fact: facts.HandOffRefused) -> Reasons:
    """A hand-off may be refused by whom it goes to, until they start."""
    found = item_of(draft, event.subject)
    if found is None:
        yield from the_item(draft, event.subject)
        return
    against = list(on_route(event.subject, found, fact.sender, "/data/sender"))
    receivers = [] if against else _receivers(draft, event.subject, found, fact)
    if not against and not receivers:
        against.append(
            Reason(
                Code.NOT_ON_ROUTE,
                f"{fact.sender} does not hand {event.subject} off to {fact.department}",
                "/data/department",
            )
        )
    yield from against
    if against:
        return
    yield from the_move(draft, event, fact.sender, Move.REFUSE, fact.take, "/data/sender")
    handed_off_us = visit_of(draft, event.subject, fact.sender).current.ended_us
    for item, department in receivers:
        take = visit_of(draft, item, department).current
        if take.begun and take.started_us >= handed_off_us:
            yield Reason(
                Code.ILLEGAL_MOVE,
                f"{department} has begun {item}, so it took the hand-off; call a correction",
                "/data/department",
            )


def _receivers(draft: Draft, item: str, found: object, fact: facts.HandOffRefused) -> list[Node]:
    """Visits at the refusing department that wait for the sender's."""
    candidates = [(item, fact.department)]
    if isinstance(found, Scene):
        candidates.append((found.episode, fact.department))
    if isinstance(found, Element):
        candidates += [(scene, fact.department) for scene in found.scenes]
    sender = (item, fact.sender)
    return [
        node for node in candidates if any(arc.node == sender for arc in predecessors(draft, *node))
    ]


def department_stopped(draft: Draft, event: Event, fact: facts.DepartmentStopped) -> Reasons:
    """A working department may stop."""
    yield from the_department(draft, fact.department)
    known = draft.stoppages.get(fact.department, ())
    if known and known[-1].resumed_us < 0:
        yield Reason(
            Code.CONTRADICTION, f"{fact.department} is stopped already", "/data/department"
        )
    elif known and event.time_us < known[-1].resumed_us:
        yield Reason(Code.TIME_ORDER, f"{fact.department} was stopped then already", "/time")
    if fact.expected_end_at_us <= event.time_us:
        yield Reason(
            Code.CONTRADICTION,
            "a stoppage is expected to end after it began",
            "/data/expected_end_at",
        )


def department_resumed(draft: Draft, event: Event, fact: facts.DepartmentResumed) -> Reasons:
    """A stopped department may go on."""
    known = draft.stoppages.get(fact.department, ())
    if not known or known[-1].resumed_us >= 0:
        yield Reason(Code.CONTRADICTION, f"{fact.department} is not stopped", "/data/department")
    elif event.time_us < known[-1].stopped_us:
        yield Reason(Code.TIME_ORDER, "it cannot go on before it stopped", "/time")
