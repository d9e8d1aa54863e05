"""An episode's history as a readable diary."""

import orjson
from flask import Blueprint, Response, g
from msgspec import UNSET

from service.feeds import table
from service.projections.diary import read_diary
from service.vocabulary import cautions
from service.web import negotiation
from service.web.accept import answered_type
from service.web.access import require
from service.web.answers import ItemsShown
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.diary import answers as shapes
from service.web.nouns.diary import answers as shown
from service.web.nouns.diary import arguments as queries
from service.web.nouns.diary.answers import EntryShown
from service.web.reading import Page, answer, answer_as, found, read_page
from service.web.recorded import all_texts_at
from service.web.schemas.reading import PAGE_HEADERS
from service.web.services import services
from service.web.visibility import concern_of, withheld

diary = Blueprint("diary", __name__)

PLAIN = "text/plain"
_CSV = {"type": "string", "description": "RFC 4180: a header, CRLF, UTF-8; the same page."}
_TEXT = {"type": "string", "description": "A paragraph for each entry; the same page."}


@diary.get("/episodes/<episode>/diary")
@describe(
    "An episode's history as a readable diary",
    tag="episodes",
    details="Every event about the episode, its scenes, the elements they use and the retakes that "
    "reach it, in the order in which it was recorded: what it says, when it happened, when it was "
    "recorded and by whom, and what it changed as the record was then. Struck ones stay, marked; "
    "so do their strikes. The pages of one diary are of one position; `Link` leads to the next "
    "in every media type. In CSV a text that a spreadsheet would run as a formula begins with an "
    "apostrophe.",
    query=queries.DIARY_QUERY,
    cautions=(cautions.PEOPLE,),
    answers={
        200: Answer(
            "A page of entries.",
            {JSON: shapes.DIARY, table.MEDIA_TYPE: _CSV, PLAIN: _TEXT},
            PAGE_HEADERS,
        )
    },
    problems=("not-found", "not-yet"),
    lane="costly",
)
@require()
def show_diary(episode: str) -> Response:
    """A page of the diary, the earliest recorded first."""
    page = read_page(negotiation.read_args())
    reading = page.reading
    found(reading.state.episodes.get(episode), f"episode {episode}")
    entries, more = _entries(page, episode)
    cursor = page.cursor_at(entries[-1].position) if more else None
    made = _made(page, episode, entries, cursor)
    if cursor is not None:
        page.link_to(made, cursor)
    return made


def _made(page: Page, episode: str, entries: list[EntryShown], cursor: str | None) -> Response:
    media_type = answered_type()
    if media_type == table.MEDIA_TYPE:
        rows = map(shown.cells, entries)
        return answer_as(
            page.reading, table.CONTENT_TYPE, lambda: table.csv_bytes(shown.COLUMNS, rows)
        )
    if media_type == PLAIN:
        content_type = f"{PLAIN}; charset=utf-8"
        return answer_as(
            page.reading, content_type, lambda: shown.diary_text(episode, entries).encode()
        )
    return answer(page.reading, lambda: ItemsShown(items=entries, next=cursor or UNSET))


def _entries(page: Page, episode: str) -> tuple[list[EntryShown], bool]:
    """The entries of a page, and whether more follow."""
    reading = page.reading
    with services().engine.connect() as connection:
        diary = read_diary(
            connection,
            reading.studio,
            reading.state,
            episode,
            after=page.offset,
            limit=page.limit,
            until=reading.position,
            bytes_max=services().page_bytes_max,
        )
        concerns = {
            one.event.position: concern_of(orjson.loads(one.stored.body)) for one in diary.page
        }
        texts = all_texts_at(connection, g.token, concerns)
    return [
        shown.shown_entry(
            one,
            texts.get(one.event.position, {}),
            withheld=withheld(g.token, one.event.fact.TYPE),
        )
        for one in diary.page
    ], diary.more
