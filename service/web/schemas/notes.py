"""Notes as answers show them."""

from service.web.schemas import query
from service.web.schemas.common import Shown
from service.web.schemas.reading import PageQuery, moment, page_shown, whole, word


class NotesQuery(PageQuery):
    """Arguments of the list of notes."""

    subject = query.subject("Only notes on this subject and what lies beneath it.")
    department = query.department("Only notes to this department.")
    answered = query.one_of(
        ("true", "false", "all"),
        "Which notes: open ones (false), answered ones (true), or all.",
        load_default="false",
    )


class NoteShown(Shown):
    """A remark on an item, to a department."""

    note = word("Its code.")
    item = word("What it is about.")
    to = word("To which department.")
    given_at = moment("When it was given.", none=False)
    given_position = whole("The position of its event.")
    text = word("The remark; null where it may not be read or was removed.", none=True)
    answered_at = moment("When it was answered; null: it is open.")
    answered_position = whole("The position of the answer.", none=True)
    answer = word("The answer; null where there is none or it may not be read.", none=True)


NOTES_QUERY = NotesQuery()
NOTES = page_shown(NoteShown, "NotesPage")
