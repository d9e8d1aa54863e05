"""Facts about the record itself."""

from service.production.state import Draft
from service.vocabulary.event import Event
from service.vocabulary.facts.record import TextForgotten


def text_forgotten(draft: Draft, event: Event, fact: TextForgotten) -> None:
    """Nothing changes: a state never holds personal text."""
