"""What is recorded of the record itself."""

from collections.abc import Iterator

from service.production.asking import Reasons
from service.production.marking import add_mark
from service.production.marks import HARD_DATE_MOVED
from service.production.nouns.rule import Rule
from service.production.refusal import Code, Reason
from service.production.state import Draft
from service.production.wording import because, counted
from service.vocabulary.event import Event
from service.vocabulary.facts.record import EventStruck, TextForgotten


def check_text_forgotten(draft: Draft, event: Event, fact: TextForgotten) -> Iterator[Reason]:
    """The text of what is in the log, each event named once."""
    seen: set[int] = set()
    for place, position in enumerate(fact.positions):
        member = f"/data/positions/{place}"
        if position >= event.position:
            yield Reason(Code.UNKNOWN, f"event {position} is not in the log", member)
        elif position in seen:
            yield Reason(Code.CONTRADICTION, f"event {position} is named twice", member)
        seen.add(position)


def apply_text_forgotten(draft: Draft, event: Event, fact: TextForgotten) -> None:
    """Nothing changes: a state never holds personal text."""


def _say_text_forgotten(event: Event, fact: TextForgotten) -> str:
    return (
        f"What people wrote in {counted(len(fact.positions), 'event')} was "
        f"removed, by order of {fact.by}."
    )


def check_event_struck(draft: Draft, event: Event, fact: EventStruck) -> Reasons:
    """What is struck is held against the past, which a draft does not have: see `decide`."""
    yield from ()


def apply_event_struck(draft: Draft, event: Event, fact: EventStruck) -> None:
    """That it moved a hard date is marked; else nothing: what stands is chosen before the fold."""
    if fact.reason is not None:
        add_mark(draft, event.position, HARD_DATE_MOVED)


def _say_event_struck(_: Event, fact: EventStruck) -> str:
    moved = "" if fact.reason is None else f" A hard date moves by it{because(fact)}."
    return f"Event {fact.position} was struck: it was a mistake.{moved}"


RULES = {
    "text.forgotten": Rule(check_text_forgotten, apply_text_forgotten, _say_text_forgotten),
    "event.struck": Rule(check_event_struck, apply_event_struck, _say_event_struck),
}
