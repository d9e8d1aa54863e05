"""Notes, given and answered."""

from service.production import marks
from service.production.asking import Reasons, the_department, the_item
from service.production.marking import add_mark
from service.production.nouns.rule import Rule
from service.production.refusal import Code, Reason
from service.production.state import Draft, Note
from service.production.wording import if_said
from service.vocabulary.event import Event
from service.vocabulary.facts.talk import NoteAnswered, NoteGiven


def check_note_given(draft: Draft, event: Event, fact: NoteGiven) -> Reasons:
    """A note's code is new, and it goes to a department there is."""
    yield from the_item(draft, event.subject)
    yield from the_department(draft, fact.to, "/data/to")
    if fact.department is not None:
        yield from the_department(draft, fact.department)
    if fact.note in draft.notes:
        yield Reason(Code.EXISTS, f"note {fact.note} is given already", "/data/note")


def apply_note_given(draft: Draft, event: Event, fact: NoteGiven) -> None:
    """Keep a note as open."""
    draft.notes[fact.note] = Note(event.position, event.subject, fact.to, event.time_us)


def _say_note_given(event: Event, fact: NoteGiven) -> str:
    by = if_said(" from ", fact.department)
    return f"Note {fact.note} on {event.subject} was given to {fact.to}{by}."


def check_note_answered(draft: Draft, event: Event, fact: NoteAnswered) -> Reasons:
    """An open note is answered, under the item it is about."""
    note = draft.notes.get(fact.note)
    if note is None:
        yield Reason(Code.UNKNOWN, f"there is no note {fact.note}", "/data/note")
        return
    if note.answered:
        yield Reason(Code.CONTRADICTION, f"note {fact.note} is answered already", "/data/note")
    if note.item != event.subject:
        yield Reason(Code.CONTRADICTION, f"note {fact.note} is about {note.item}", "/subject")
    if event.time_us < note.given_us:
        yield Reason(Code.TIME_ORDER, f"note {fact.note} was given only after that", "/time")
    if fact.department is not None:
        yield from the_department(draft, fact.department)


def apply_note_answered(draft: Draft, event: Event, fact: NoteAnswered) -> None:
    """Close a note with the time of its answer."""
    note = draft.notes[fact.note]
    draft.notes[fact.note] = note._replace(
        answered_us=event.time_us, answered_position=event.position
    )
    if fact.department not in {None, note.to}:
        add_mark(draft, event.position, marks.ANSWERED_BY_ANOTHER)


def _say_note_answered(event: Event, fact: NoteAnswered) -> str:
    return f"Note {fact.note} was answered{if_said(' by ', fact.department)}."


RULES = {
    "note.given": Rule(check_note_given, apply_note_given, _say_note_given),
    "note.answered": Rule(check_note_answered, apply_note_answered, _say_note_answered),
}
