"""What the desks' facts change."""

from service.production.evolve.entering import enter_move
from service.production.evolve.marking import mark_irregular
from service.production.state import Draft, Stoppage, visit_of
from service.production.visits import Move
from service.vocabulary.event import Event
from service.vocabulary.facts import desks as facts


def hand_out_made(draft: Draft, event: Event, fact: facts.HandOutMade) -> None:
    """An artist is given a take."""
    node = (event.subject, fact.department)
    enter_move(draft, event, node, Move.HAND_OUT, take=fact.take, artist=fact.artist)


def work_started(draft: Draft, event: Event, fact: facts.WorkStarted) -> None:
    """A take is on a desk."""
    node = (event.subject, fact.department)
    enter_move(draft, event, node, Move.START, take=fact.take, artist=fact.artist)
    mark_irregular(draft, event, node)


def hand_off_made(draft: Draft, event: Event, fact: facts.HandOffMade) -> None:
    """A take is finished and released."""
    node = (event.subject, fact.department)
    started = visit_of(draft, *node).take_open(event.time_us).started_us >= 0
    enter_move(draft, event, node, Move.HAND_OFF, take=fact.take)
    if not started:
        mark_irregular(draft, event, node, "not-started")


def hand_off_refused(draft: Draft, event: Event, fact: facts.HandOffRefused) -> None:
    """The sender's take goes on."""
    node = (event.subject, fact.sender)
    enter_move(draft, event, node, Move.REFUSE, take=fact.take, share_e4=fact.share_e4)


def department_stopped(draft: Draft, event: Event, fact: facts.DepartmentStopped) -> None:
    """A department does not work until it resumes."""
    stoppage = Stoppage(event.position, event.time_us, fact.expected_end_at_us, -1)
    known = draft.stoppages.get(fact.department, ())
    draft.stoppages[fact.department] = (*known, stoppage)


def department_resumed(draft: Draft, event: Event, fact: facts.DepartmentResumed) -> None:
    """The stoppage that lasts is over."""
    *before, last = draft.stoppages[fact.department]
    draft.stoppages[fact.department] = (*before, last._replace(resumed_us=event.time_us))
