"""Notes as JSON shows them."""

from collections.abc import Mapping
from typing import Annotated

from service.production.state import Note
from service.vocabulary.instants import format_instant
from service.web.answers import Instant, Shown, note, page_of
from service.web.nouns.values import shown_us
from service.web.visibility import Concern

TEXT = "/data/text"


class NoteShown(Shown):
    """A remark on an item, to a department."""

    note: Annotated[str, note("Its code.")]
    item: Annotated[str, note("What it is about.")]
    to: Annotated[str, note("To which department.")]
    given_at: Annotated[Instant, note("When it was given.")]
    given_position: Annotated[int, note("The position of its event.")]
    text: Annotated[str | None, note("The remark; null where it may not be read or was removed.")]
    answered_at: Annotated[Instant | None, note("When it was answered; null: it is open.")]
    answered_position: Annotated[int | None, note("The position of the answer.")]
    answer: Annotated[
        str | None, note("The answer; null where there is none or it may not be read.")
    ]


def shown_note(code: str, note: Note, texts: Mapping[int, Mapping[str, str]]) -> NoteShown:
    """A note; its texts are null where they may not be read or are gone."""
    answer = {} if note.answered_position is None else texts.get(note.answered_position, {})
    return NoteShown(
        note=code,
        item=note.item,
        to=note.to,
        given_at=format_instant(note.given_us),
        given_position=note.position,
        text=texts.get(note.position, {}).get(TEXT),
        answered_at=shown_us(note.answered_us),
        answered_position=note.answered_position,
        answer=answer.get(TEXT),
    )


def concerns_of(note: Note) -> dict[int, Concern]:
    """What the events of a note concern, by position."""
    concerns = {note.position: Concern("note.given", frozenset({note.to}))}
    if note.answered_position is not None:
        concerns[note.answered_position] = Concern("note.answered")
    return concerns


NOTES = page_of(NoteShown, "NotesPage")
