"""What the desks' facts change."""

from typing import Any

from service.production.approval import unapproved
from service.production.evolve.entering import enter_move
from service.production.evolve.marking import add_mark, mark_irregular, surely_regular
from service.production.marks import BEFORE_APPROVAL, END_UNKNOWN, NOT_STARTED
from service.production.state import Draft, Stoppage, visit_of
from service.production.visits import DESK_RANK, UNVISITED, Entry, Move, Visit, enter_desk
from service.vocabulary.event import Event
from service.vocabulary.facts import desks as facts

IN_ORDER: dict[type, Move] = {
    facts.HandOutMade: Move.HAND_OUT,
    facts.WorkStarted: Move.START,
    facts.HandOffMade: Move.HAND_OFF,
}
_START, _HAND_OFF = Move.START, Move.HAND_OFF
_NOTHING: dict[str, Visit] = {}


def applied_in_order(draft: Draft, event: Event, fact: Any, move: Move) -> bool:
    """Apply a fact of `IN_ORDER` the short way, if it is one as most of a log are.

    Such a one comes after all that was recorded of its item, leaves the take to be understood, and
    is in no way irregular. False where the long way must be gone; nothing is changed then.
    """
    item, at_us, department = event.subject, event.time_us, fact.department
    if fact.take is not None or draft.latest.get(item, at_us) >= at_us or draft.put_first:
        return False
    artist = None if move is _HAND_OFF else fact.artist
    visits = draft.visits.get(item, _NOTHING)
    before = visits.get(department, UNVISITED)
    entry = Entry(at_us, DESK_RANK, event.position, move, None, artist)
    visit = enter_desk(before, entry)
    if visit is None:
        return False
    if move is _START:
        if not surely_regular(draft, item, department, visits, at_us):
            return False
    elif move is _HAND_OFF:
        last = before.entries[-1] if before.entries else None
        # what began with anything unusual may go without it still
        if last is None or last.move is not _START or last.position in draft.marks:
            return False
    visits = visits.copy()
    visits[department] = visit
    draft.visits[item] = visits
    draft.latest[item] = at_us
    return True


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
        mark_irregular(draft, event, node, NOT_STARTED)
    scene = draft.scenes.get(event.subject)
    asks = scene is not None and (scene.elements or scene.same_as)
    if asks and unapproved(draft, node, event.time_us):
        add_mark(draft, event.position, BEFORE_APPROVAL)


def hand_off_refused(draft: Draft, event: Event, fact: facts.HandOffRefused) -> None:
    """The sender's take goes on."""
    node = (event.subject, fact.sender)
    enter_move(draft, event, node, Move.REFUSE, take=fact.take, share_e4=fact.share_e4)


def department_stopped(draft: Draft, event: Event, fact: facts.DepartmentStopped) -> None:
    """A department does not work until it resumes; stopped already, its end becomes another."""
    end_us = -1 if fact.expected_end_at_us is None else fact.expected_end_at_us
    if end_us < 0:
        add_mark(draft, event.position, END_UNKNOWN)
    known = draft.stoppages.get(fact.department, ())
    if known and known[-1].resumed_us < 0:
        stoppages = (*known[:-1], known[-1]._replace(expected_end_us=end_us))
    else:
        stoppages = (*known, Stoppage(event.position, event.time_us, end_us, -1))
    draft.stoppages[fact.department] = stoppages


def department_resumed(draft: Draft, event: Event, fact: facts.DepartmentResumed) -> None:
    """The stoppage that lasts is over."""
    *before, last = draft.stoppages[fact.department]
    draft.stoppages[fact.department] = (*before, last._replace(resumed_us=event.time_us))
