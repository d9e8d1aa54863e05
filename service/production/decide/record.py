"""What may be recorded of the record itself."""

from collections.abc import Iterator

from service.production.refusal import Code, Reason
from service.production.state import Draft
from service.vocabulary.event import Event
from service.vocabulary.facts.record import TextForgotten


def text_forgotten(draft: Draft, event: Event, fact: TextForgotten) -> Iterator[Reason]:
    """The text of what is in the log, each event named once."""
    seen: set[int] = set()
    for place, position in enumerate(fact.positions):
        member = f"/data/positions/{place}"
        if position >= event.position:
            yield Reason(Code.UNKNOWN, f"event {position} is not in the log", member)
        elif position in seen:
            yield Reason(Code.CONTRADICTION, f"event {position} is named twice", member)
        seen.add(position)
