"""Notes as answers show them."""

from service.web.schemas import query
from service.web.schemas.reading import PageQuery


class NotesQuery(PageQuery):
    """Arguments of the list of notes."""

    subject = query.subject("Only notes on this subject and what lies beneath it.")
    department = query.department("Only notes to this department.")
    answered = query.one_of(
        ("true", "false", "all"),
        "Which notes: open ones (false), answered ones (true), or all.",
        load_default="false",
    )


NOTES_QUERY = NotesQuery()
