"""What the desks may record."""

from service.production.decide.asking import Reasons, on_route, the_department, the_item, the_move
from service.production.graph import successors
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL
from service.production.state import Draft, Node, item_of, visit_of
from service.production.visits import Move
from service.vocabulary.event import Event
from service.vocabulary.facts import desks as facts
from service.vocabulary.instants import format_instant


def hand_out_made(draft: Draft, event: Event, fact: facts.HandOutMade) -> Reasons:
    """A take that is not handed off may be given to an artist."""
    yield from the_move(draft, event, fact.department, Move.HAND_OUT, fact.take, artist=fact.artist)


def work_started(draft: Draft, event: Event, fact: facts.WorkStarted) -> Reasons:
    """A take that waits may start."""
    yield from the_move(draft, event, fact.department, Move.START, fact.take, artist=fact.artist)


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
    receivers = [] if against else _receivers(draft, event.subject, fact)
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
    yield from the_move(
        draft, event, fact.sender, Move.REFUSE, fact.take, "/data/sender", share_e4=fact.share_e4
    )
    handed_off_us = visit_of(draft, event.subject, fact.sender).take_open(event.time_us).ended_us
    for node in receivers:
        takes = visit_of(draft, *node).takes
        if any(
            handed_off_us <= at_us <= event.time_us
            for take in takes
            for at_us in (take.started_us, take.ended_us)
            if at_us >= 0
        ):
            yield Reason(
                Code.ILLEGAL_MOVE,
                f"{fact.department} had begun {node[0]}, so it took the hand-off; call a "
                "correction",
                "/data/department",
            )


def _receivers(draft: Draft, item: str, fact: facts.HandOffRefused) -> list[Node]:
    """Visits at the refusing department that wait for the sender's."""
    if fact.department == APPROVAL:
        return []  # whoever answers refuses the design, not a hand-off
    behind = successors(draft, item, fact.sender)
    return [arc.node for arc in behind if arc.node[1] == fact.department]


def department_stopped(draft: Draft, event: Event, fact: facts.DepartmentStopped) -> Reasons:
    """A working department may stop; of one that is stopped, another end may be known, or none."""
    yield from the_department(draft, fact.department)
    known = draft.stoppages.get(fact.department, ())
    if known and known[-1].resumed_us < 0:
        end_us = -1 if fact.expected_end_at_us is None else fact.expected_end_at_us
        if end_us == known[-1].expected_end_us:
            until = "nobody knows until when" if end_us < 0 else f"until {format_instant(end_us)}"
            yield Reason(
                Code.CONTRADICTION,
                f"{fact.department} is stopped already, {until}; say another expected_end_at, "
                "leave it out if nobody knows it any more, or record department.resumed",
                "/data/department",
            )
        elif event.time_us < known[-1].stopped_us:
            yield Reason(Code.TIME_ORDER, f"{fact.department} stopped only after that", "/time")
    elif known and event.time_us < known[-1].resumed_us:
        yield Reason(Code.TIME_ORDER, f"{fact.department} was stopped then already", "/time")
    if fact.expected_end_at_us is not None and fact.expected_end_at_us <= event.time_us:
        yield Reason(
            Code.CONTRADICTION,
            "a stoppage is expected to end after it began; leave the end out if it is not known",
            "/data/expected_end_at",
        )


def department_resumed(draft: Draft, event: Event, fact: facts.DepartmentResumed) -> Reasons:
    """A stopped department may go on."""
    known = draft.stoppages.get(fact.department, ())
    if not known or known[-1].resumed_us >= 0:
        yield Reason(Code.CONTRADICTION, f"{fact.department} is not stopped", "/data/department")
    elif event.time_us < known[-1].stopped_us:
        yield Reason(Code.TIME_ORDER, "it cannot go on before it stopped", "/time")
