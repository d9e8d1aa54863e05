"""What recorded facts say, as sentences. Nothing that people wrote is in them."""

from collections.abc import Callable
from typing import Any

from service.vocabulary.event import Event
from service.vocabulary.instants import format_instant
from service.vocabulary.quantities import from_e4

WITHHELD = "Something about money was recorded, which this role may not read."


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _percent(share_e4: int) -> str:
    return f"{from_e4(share_e4 * 100):g} %"


def _if_said(before: str, value: object) -> str:
    """A part of a sentence about a member that may be left out."""
    return "" if value is None else f"{before}{value}"


def _of_take(fact: Any) -> str:
    return _if_said(", take ", fact.take)


def _drawings(fact: Any) -> str | None:
    return None if fact.drawings is None else _counted(fact.drawings, "drawing")


def _scope(fact: Any) -> str:
    if fact.share_e4 is not None:
        return f", {_percent(fact.share_e4)} of the drawings"
    drawings = _drawings(fact)
    return "" if drawings is None else f", {drawings} each"


def _called(event: Event, fact: Any) -> str:
    what = _counted(len(fact.items), "item") if fact.items else event.subject
    kind = fact.kind.capitalize()
    strands = " and ".join(fact.strands)
    return (
        f"{kind} {fact.retake} ({fact.urgency}) was called on {what}, back to {fact.back_to}: "
        f"{strands}{_scope(fact)}; asked for by {fact.asked_by}."
    )


def _listed(event: Event, fact: Any) -> str:
    drawings = _if_said(", ", _drawings(fact))
    return f"{event.subject} was listed: {_counted(fact.frames, 'frame')}{drawings}."


def _retimed(event: Event, fact: Any) -> str:
    drawings = _if_said(" and ", _drawings(fact))
    return f"{event.subject} was retimed to {_counted(fact.frames, 'frame')}{drawings}."


def _sent_back(event: Event, fact: Any) -> str:
    return (
        f"{fact.department} sent {event.subject} back to {fact.sender}{_of_take(fact)}: "
        f"{_percent(fact.share_e4)} of the work is to be done again."
    )


def _stopped(_: Event, fact: Any) -> str:
    if fact.expected_end_at_us is None:
        return f"{fact.department} stopped work; nobody knows yet when it will go on."
    until = format_instant(fact.expected_end_at_us)
    return f"{fact.department} stopped work; it is expected to go on at {until}."


def _gate(event: Event, fact: Any) -> str:
    kind = "" if fact.hard is None else " (hard)" if fact.hard else " (soft)"
    gate = f"The {fact.gate} gate of {event.subject}"
    return f"{gate} was set to {fact.due_on}{kind}{_because(fact)}."


def _because(fact: Any) -> str:
    return "" if fact.reason is None else f", because: {fact.reason.rstrip('.')}"


def _struck(_: Event, fact: Any) -> str:
    moved = "" if fact.reason is None else f" A hard date moves by it{_because(fact)}."
    return f"Event {fact.position} was struck: it was a mistake.{moved}"


def _put_back(event: Event, fact: Any) -> str:
    return f"The design of {event.subject} was refused by {fact.by}; it goes back."


def _noted(event: Event, fact: Any) -> str:
    by = _if_said(" from ", fact.department)
    return f"Note {fact.note} on {event.subject} was given to {fact.to}{by}."


def _looked_at(event: Event, fact: Any) -> str:
    told = "fine as it is" if fact.answer == "fine" else "to be redone"
    because = "it changed" if fact.retake is None else f"of {fact.retake}"
    return f"{event.subject} was looked at because {because}: {told}."


_SAYS: dict[str, Callable[[Event, Any], str]] = {
    "route.laid": lambda e, f: f"A route of {_counted(len(f.departments), 'department')} was laid.",
    "calendar.set": lambda e, f: (
        f"Working hours of {f.department or 'the studio'} were set from {f.from_on}."
    ),
    "crew.set": lambda e, f: (
        f"{f.department} has {_counted(f.artists, 'artist')} from {f.from_on}."
    ),
    "rate.set": lambda e, f: f"A rate card in {f.currency} was set from {f.from_on}.",
    "show.opened": lambda e, f: f"The show {e.subject} was opened.",
    "episode.opened": lambda e, f: f"The episode {e.subject} was opened.",
    "gate.set": _gate,
    "scene.listed": _listed,
    "scene.retimed": _retimed,
    "scene.omitted": lambda e, f: f"{e.subject} was taken out of the picture.",
    "scene.restored": lambda e, f: f"{e.subject} came back into the picture.",
    "element.listed": lambda e, f: f"{e.subject} was listed; its kind is {f.kind}.",
    "element.used": lambda e, f: f"{e.subject} is used by {_counted(len(f.scenes), 'scene')}.",
    "hook-up.declared": lambda e, f: f"The end of {e.subject} must match the start of {f.to}.",
    "same-as.declared": lambda e, f: f"{e.subject} reuses {f.source} and joins it at {f.joins}.",
    "hand-out.made": lambda e, f: (
        f"{f.department} handed out {e.subject}{_of_take(f)} to artist {f.artist}."
    ),
    "work.started": lambda e, f: (
        f"{f.department} started {e.subject}{_of_take(f)}{_if_said(' with artist ', f.artist)}."
    ),
    "hand-off.made": lambda e, f: f"{f.department} handed off {e.subject}{_of_take(f)}.",
    "hand-off.refused": _sent_back,
    "department.stopped": _stopped,
    "department.resumed": lambda e, f: f"{f.department} went on working.",
    "scene.held": lambda e, f: f"{e.subject} was held: {f.owes} owes an answer by {f.by_on}.",
    "scene.freed": lambda e, f: f"{e.subject} may go on.",
    "visit.put-first": lambda e, f: f"{e.subject} was put first at {f.department}.",
    "priority.set": lambda e, f: (
        f"The priority of {e.subject} "
        + ("is no longer its own." if f.priority is None else f"was set to {f.priority}.")
    ),
    "look-at.answered": _looked_at,
    "scene.bought": lambda e, f: f"{e.subject} was bought.",
    "episode.delivered": lambda e, f: f"{e.subject} was delivered.",
    "note.given": _noted,
    "note.answered": lambda e, f: f"Note {f.note} was answered{_if_said(' by ', f.department)}.",
    "approval.asked": lambda e, f: f"Approval of the design of {e.subject} was asked of {f.of}.",
    "approval.given": lambda e, f: f"The design of {e.subject} was approved by {f.by}.",
    "approval.refused": _put_back,
    "retake.called": _called,
    "retake.withdrawn": lambda e, f: f"{f.retake} was withdrawn.",
    "retake.bought-as-is": lambda e, f: f"The fault of {f.retake} was left in: bought as is.",
    "change-order.raised": lambda e, f: (
        f"Change order {f.order} was raised, asked for by {f.asked_by}."
    ),
    "change-order.priced": lambda e, f: (
        f"Change order {f.order} was priced at {f.total} {f.currency}."
    ),
    "change-order.approved": lambda e, f: f"Change order {f.order} was approved.",
    "change-order.declined": lambda e, f: f"Change order {f.order} was declined.",
    "change-order.withdrawn": lambda e, f: f"Change order {f.order} was withdrawn.",
    "text.forgotten": lambda e, f: (
        f"What people wrote in {_counted(len(f.positions), 'event')} was "
        f"removed, by order of {f.by}."
    ),
    "event.struck": _struck,
}


def sentence(event: Event) -> str:
    """What a recorded event says. Raises KeyError for a type that nobody has put into words."""
    said = _SAYS[event.fact.TYPE](event, event.fact)
    return said[0].upper() + said[1:]
