"""Notes, as far as their text may be read."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, g

from service.production.state import State
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.notes import answers as shapes
from service.web.nouns.notes import arguments as queries
from service.web.nouns.notes.answers import TEXT, concerns_of, shown_note
from service.web.paged_texts import page_with_texts
from service.web.reading import page_answer, read_page
from service.web.recorded import texts_at
from service.web.schemas.reading import PAGE_HEADERS
from service.web.services import services

notes = Blueprint("notes", __name__)
_BENEATH = ("/", "-", ":")


@notes.get("/notes")
@describe(
    "The notes, the newest first; open ones unless asked otherwise",
    tag="notes",
    query=queries.NOTES_QUERY,
    answers={200: Answer("A page of notes.", {JSON: shapes.NOTES}, PAGE_HEADERS)},
    problems=("not-yet",),
)
@require()
def list_notes() -> Response:
    """A page of notes."""
    args = negotiation.read_args()
    page = read_page(args)
    state = page.reading.state
    codes = _chosen(state, args)
    with services().engine.connect() as connection:
        page, concerns = page_with_texts(
            connection, page, codes, lambda code: concerns_of(state.notes[code])
        )
        texts = texts_at(connection, g.token, concerns, {TEXT})
    return page_answer(page, codes, lambda code: shown_note(code, state.notes[code], texts), texts)


def _chosen(state: State, args: Mapping[str, Any]) -> list[str]:
    subject, department = args.get("subject"), args.get("department")
    codes = [
        code
        for code, note in state.notes.items()
        if args["answered"] in {"all", "true" if note.answered else "false"}
        and department in {None, note.to}
        and (subject is None or at_or_beneath(note.item, subject))
    ]
    return sorted(codes, key=lambda code: -state.notes[code].position)


def at_or_beneath(item: str, subject: str) -> bool:
    """Whether an item is a subject, or of it: a show's, an episode's."""
    if not item.startswith(subject):
        return False
    return item == subject or item[len(subject)] in _BENEATH
