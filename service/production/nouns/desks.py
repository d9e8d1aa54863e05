"""Hand-outs, starts and hand-offs."""

from typing import Any

from service.production.approval import unapproved
from service.production.asking import Reasons, on_route, the_item, the_move
from service.production.entering import enter_move, take_met
from service.production.graph import successors
from service.production.marking import add_mark, mark_irregular, surely_regular
from service.production.marks import BEFORE_APPROVAL, NOT_STARTED
from service.production.nouns.rule import Rule
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL
from service.production.state import Draft, Node, item_of, visit_of
from service.production.takes import Phase
from service.production.visits import DESK_RANK, UNVISITED, Entry, Move, Visit, enter_desk
from service.production.wording import if_said, of_take, percent
from service.vocabulary.event import Event
from service.vocabulary.facts.desks import (
    HandOffMade,
    HandOffRefused,
    HandOutMade,
    HandOutWithdrawn,
    WorkStarted,
)

IN_ORDER: dict[type, Move] = {
    HandOutMade: Move.HAND_OUT,
    WorkStarted: Move.START,
    HandOffMade: Move.HAND_OFF,
}


_START, _HAND_OFF = Move.START, Move.HAND_OFF


_NOTHING: dict[str, Visit] = {}


def check_hand_out_made(draft: Draft, event: Event, fact: HandOutMade) -> Reasons:
    """A take that is not handed off may be given to an artist."""
    yield from the_move(draft, event, fact.department, Move.HAND_OUT, fact.take, artist=fact.artist)


def apply_hand_out_made(draft: Draft, event: Event, fact: HandOutMade) -> None:
    """An artist is given a take."""
    node = (event.subject, fact.department)
    enter_move(draft, event, node, Move.HAND_OUT, take=fact.take, artist=fact.artist)


def _say_hand_out_made(event: Event, fact: HandOutMade) -> str:
    return f"{fact.department} handed out {event.subject}{of_take(fact)} to artist {fact.artist}."


def check_hand_out_withdrawn(draft: Draft, event: Event, fact: HandOutWithdrawn) -> Reasons:
    """A take that an artist was given and has not started."""
    against = list(the_move(draft, event, fact.department, Move.WITHDRAW, fact.take))
    take = take_met(draft, (event.subject, fact.department), event.time_us)
    where = f"{event.subject} at {fact.department}, take {take.number},"
    if against and take.phase is Phase.ON_DESK:
        remedy = "strike its start, or hand it out to another artist"
        yield Reason(Code.ILLEGAL_MOVE, f"{where} is on a desk: {remedy}", "/subject")
    elif against:
        yield from against
    elif take.artist is None:
        detail = f"{where} is handed out to nobody: there is nothing to withdraw"
        yield Reason(Code.CONTRADICTION, detail, "/subject")


def apply_hand_out_withdrawn(draft: Draft, event: Event, fact: HandOutWithdrawn) -> None:
    """Nobody has the take any more; it waits for any artist."""
    enter_move(draft, event, (event.subject, fact.department), Move.WITHDRAW, take=fact.take)


def _say_hand_out_withdrawn(event: Event, fact: HandOutWithdrawn) -> str:
    return f"{fact.department} took {event.subject}{of_take(fact)} back from whoever had it."


def check_work_started(draft: Draft, event: Event, fact: WorkStarted) -> Reasons:
    """A take that waits may start."""
    yield from the_move(draft, event, fact.department, Move.START, fact.take, artist=fact.artist)


def apply_work_started(draft: Draft, event: Event, fact: WorkStarted) -> None:
    """A take is on a desk."""
    node = (event.subject, fact.department)
    enter_move(draft, event, node, Move.START, take=fact.take, artist=fact.artist)
    mark_irregular(draft, event, node)


def _say_work_started(event: Event, fact: WorkStarted) -> str:
    by = if_said(" with artist ", fact.artist)
    return f"{fact.department} started {event.subject}{of_take(fact)}{by}."


def check_hand_off_made(draft: Draft, event: Event, fact: HandOffMade) -> Reasons:
    """A take that is not handed off may be."""
    yield from the_move(draft, event, fact.department, Move.HAND_OFF, fact.take)


def apply_hand_off_made(draft: Draft, event: Event, fact: HandOffMade) -> None:
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


def _say_hand_off_made(event: Event, fact: HandOffMade) -> str:
    return f"{fact.department} handed off {event.subject}{of_take(fact)}."


def check_hand_off_refused(draft: Draft, event: Event, fact: HandOffRefused) -> Reasons:
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


def apply_hand_off_refused(draft: Draft, event: Event, fact: HandOffRefused) -> None:
    """Put the sender's take back on its desk, with the share asked for."""
    node = (event.subject, fact.sender)
    enter_move(draft, event, node, Move.REFUSE, take=fact.take, share_e4=fact.share_e4)


def _say_hand_off_refused(event: Event, fact: HandOffRefused) -> str:
    return (
        f"{fact.department} sent {event.subject} back to {fact.sender}{of_take(fact)}: "
        f"{percent(fact.share_e4)} of the work is to be done again."
    )


def _receivers(draft: Draft, item: str, fact: HandOffRefused) -> list[Node]:
    """Visits at the refusing department that wait for the sender's."""
    if fact.department == APPROVAL:
        return []  # whoever answers refuses the design, not a hand-off
    behind = successors(draft, item, fact.sender)
    return [arc.node for arc in behind if arc.node[1] == fact.department]


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


RULES = {
    "hand-out.made": Rule(check_hand_out_made, apply_hand_out_made, _say_hand_out_made),
    "hand-out.withdrawn": Rule(
        check_hand_out_withdrawn, apply_hand_out_withdrawn, _say_hand_out_withdrawn
    ),
    "work.started": Rule(check_work_started, apply_work_started, _say_work_started),
    "hand-off.made": Rule(check_hand_off_made, apply_hand_off_made, _say_hand_off_made),
    "hand-off.refused": Rule(check_hand_off_refused, apply_hand_off_refused, _say_hand_off_refused),
}
