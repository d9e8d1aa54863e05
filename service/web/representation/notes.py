"""Notes as JSON shows them."""

from collections.abc import Mapping
from typing import Any

from service.production.state import Note
from service.web.representation.values import Shown, shown_us

TEXT = "/data/text"


def shown_note(code: str, note: Note, texts: Mapping[int, Mapping[str, str]]) -> Shown:
    """A note; its texts are null where they may not be read or are gone."""
    return {
        "note": code,
        "item": note.item,
        "to": note.to,
        "given_at": shown_us(note.given_us),
        "given_position": note.position,
        "text": texts.get(note.position, {}).get(TEXT),
        "answered_at": shown_us(note.answered_us),
        "answered_position": note.answered_position if note.answered_position > 0 else None,
        "answer": texts.get(note.answered_position, {}).get(TEXT),
    }


def facts_of(note: Note) -> dict[int, Mapping[str, Any]]:
    """What visibility asks of the events of a note."""
    facts: dict[int, Mapping[str, Any]] = {
        note.position: {"type": "note.given", "data": {"to": note.to}}
    }
    if note.answered_position > 0:
        facts[note.answered_position] = {"type": "note.answered", "data": {}}
    return facts
