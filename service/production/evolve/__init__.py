"""The fold: what each recorded fact changes. Pure, and total over what `decide` accepts."""

from collections.abc import Callable, Iterable
from typing import Any

from service.production.evolve import (
    approval,
    desks,
    gates,
    office,
    orders,
    rates,
    record,
    retakes,
    supervision,
)
from service.production.evolve.marking import add_mark
from service.production.marks import HARD_DATE_MOVED, LATE
from service.production.state import Draft, State
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.facts.record import EventStruck

Apply = Callable[[Draft, Event, Any], None]

APPLIES: dict[str, Apply] = {
    "route.laid": office.route_laid,
    "calendar.set": office.calendar_set,
    "crew.set": office.crew_set,
    "rate.set": rates.rate_set,
    "show.opened": office.show_opened,
    "episode.opened": office.episode_opened,
    "gate.set": gates.gate_set,
    "scene.listed": office.scene_listed,
    "scene.retimed": office.scene_retimed,
    "scene.omitted": office.scene_omitted,
    "scene.restored": office.scene_restored,
    "element.listed": office.element_listed,
    "element.used": office.element_used,
    "hook-up.declared": office.hook_up_declared,
    "same-as.declared": office.same_as_declared,
    "hand-out.made": desks.hand_out_made,
    "work.started": desks.work_started,
    "hand-off.made": desks.hand_off_made,
    "hand-off.refused": desks.hand_off_refused,
    "department.stopped": desks.department_stopped,
    "department.resumed": desks.department_resumed,
    "scene.held": supervision.scene_held,
    "scene.freed": supervision.scene_freed,
    "visit.put-first": supervision.visit_put_first,
    "priority.set": supervision.priority_set,
    "look-at.answered": retakes.look_at_answered,
    "scene.bought": supervision.scene_bought,
    "episode.delivered": supervision.episode_delivered,
    "note.given": supervision.note_given,
    "note.answered": supervision.note_answered,
    "approval.asked": approval.approval_asked,
    "approval.given": approval.approval_given,
    "approval.refused": approval.approval_refused,
    "retake.called": retakes.retake_called,
    "retake.withdrawn": retakes.retake_withdrawn,
    "retake.bought-as-is": retakes.retake_bought_as_is,
    "change-order.raised": orders.change_order_raised,
    "change-order.priced": orders.change_order_priced,
    "change-order.approved": orders.change_order_approved,
    "change-order.declined": orders.change_order_declined,
    "change-order.withdrawn": orders.change_order_withdrawn,
    "text.forgotten": record.text_forgotten,
}


_BY_FACT: dict[type, Apply] = {CATALOGUE[type_]: change for type_, change in APPLIES.items()}


def apply(draft: Draft, event: Event) -> None:
    """Write one event into a draft.

    Of a strike it is marked that it moved a hard date, and nothing else changes: what stands of
    the log is chosen before the fold. Raises KeyError for a type without an entry in the table.
    """
    fact = event.fact
    if type(fact) is EventStruck:
        if fact.reason is not None:
            add_mark(draft, event.position, HARD_DATE_MOVED)
        return
    if _applied_in_order(draft, event):
        return
    change = _BY_FACT.get(type(fact))
    if change is None:
        raise KeyError(fact.TYPE)
    change(draft, event, fact)
    if draft.worked_out:
        draft.worked_out.clear()
    subject, time_us = event.subject, event.time_us
    before_us = draft.latest.get(subject)
    if before_us is None or before_us < time_us:
        draft.latest[subject] = time_us
    elif before_us > time_us:
        add_mark(draft, event.position, LATE)


def _applied_in_order(draft: Draft, event: Event) -> bool:
    move = desks.IN_ORDER.get(type(event.fact))
    if move is None or not desks.applied_in_order(draft, event, event.fact, move):
        return False
    if draft.worked_out:
        draft.worked_out.clear()
    return True


def fold(state: State, events: Iterable[Event]) -> State:
    """The state after events, in order of position."""
    draft = Draft(state)
    in_order, applied_in_order = desks.IN_ORDER, desks.applied_in_order
    for event in events:
        # nothing was worked out before in a fold, so that most of a log needs no more than this
        fact = event.fact
        move = in_order.get(type(fact))
        if move is None or not applied_in_order(draft, event, fact, move):
            apply(draft, event)
    return draft.finish()
