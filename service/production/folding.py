"""The fold: what each recorded fact changes. Pure, and total over what `decide` accepts.

Events are folded in order of position. A visit keeps its few entries in order of time
(`visits.enter` puts a late one in its place), and its takes follow from them by one pass. Nine in
ten events of a log are hand-outs, starts and hand-offs that come in order about the only take of a
visit: they go a short way (`nouns/desks.applied_in_order`), which gives up wherever anything is
unusual; a test holds both ways together.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from service.production.marking import add_mark
from service.production.marks import LATE
from service.production.nouns import RULES, desks
from service.production.state import Draft, State
from service.production.visits import Move
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.facts.record import EventStruck

_APPLY: dict[type, Callable[[Draft, Event, Any], None]] = {
    CATALOGUE[type_]: rule.apply for type_, rule in RULES.items()
}


def apply(draft: Draft, event: Event) -> None:
    """Write one event into a draft.

    Raises KeyError for a type without a rule.
    """
    if not _applied_in_order(draft, event):
        _apply_by_rule(draft, event)


def _apply_by_rule(draft: Draft, event: Event) -> None:
    fact = event.fact
    change = _APPLY.get(type(fact))
    if change is None:
        raise KeyError(fact.TYPE)
    change(draft, event, fact)
    if type(fact) is EventStruck:
        return  # nothing of its subject changes
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


def fold(
    state: State, events: Iterable[Event], in_order: Mapping[type, Move] = desks.IN_ORDER
) -> State:
    """The state after events, in order of position; facts of `in_order` may go the short way."""
    draft = Draft(state)
    applied_in_order = desks.applied_in_order
    for event in events:
        # nothing was worked out before in a fold, so that most of a log needs no more than this
        fact = event.fact
        move = in_order.get(type(fact))
        if move is None or not applied_in_order(draft, event, fact, move):
            _apply_by_rule(draft, event)
    return draft.finish()
