"""What moved each episode's projected delivery, and when."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, Response, g, request
from msgspec import UNSET

from service.planning.compare.trail import DateMove
from service.projections import rows
from service.projections.present import Present
from service.projections.rows import share_of
from service.web import negotiation, paging
from service.web.access import require
from service.web.answers import ItemsShown
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.trail import answers as shapes
from service.web.nouns.trail import arguments as queries
from service.web.nouns.trail.answers import shown_move, shown_totals
from service.web.reading import Reading, answer, found, read_now
from service.web.schemas.reading import PAGE_HEADERS, READ, READ_HEADERS
from service.web.services import services

trail = Blueprint("trail", __name__)
_FILTERS = ("cause", "from_position", "until_position")


@trail.get("/episodes/<episode>/trail")
@describe(
    "Every change of an episode's projected delivery, with what caused it",
    tag="episodes",
    details="Each event that moved it, and time passing, then with the visit that was waited for. "
    "The first row stands where the episode's first scene was listed; the minutes of all rows add "
    "up to the move from the first projection to the present one. Rows of minutes that are not "
    "over, and of time passing until now, are provisional.",
    query=queries.TRAIL_QUERY,
    dates=True,
    answers={200: Answer("A page of the trail.", {JSON: shapes.TRAIL}, PAGE_HEADERS)},
    problems=("not-found", "not-yet", "being-built"),
    lane="costly",
)
@require()
def show_trail(episode: str) -> Response:
    """A page of a trail, oldest first."""
    args = negotiation.read_args()
    present = _present(args)
    reading = _reading(present)
    found(reading.state.episodes.get(episode), f"episode {episode}")
    filters = {name: request.args[name] for name in _FILTERS if name in request.args}
    this_list = paging.of_this_list(filters)
    after = paging.number_of(args, this_list)
    moves, stored = _page(present, episode, args, after)
    shown, limit = moves[: args["limit"]], args["limit"]
    cursor = None
    if len(moves) > limit:
        cursor = paging.make_cursor([shown[-1].number], this_list)

    def make() -> ItemsShown:
        items = [shown_move(move, provisional=place >= stored) for place, move in enumerate(shown)]
        return ItemsShown(items=items, next=cursor or UNSET)

    made = answer(reading, make, present.stored)
    if cursor is not None:
        paging.say_next(made, filters, limit, cursor)
    return made


@trail.get("/episodes/<episode>/trail/totals")
@describe(
    "Days that an episode's delivery lost and gained, by cause, department and kind of retake",
    tag="episodes",
    query=READ,
    dates=True,
    answers={200: Answer("The totals.", {JSON: shapes.TOTALS}, READ_HEADERS)},
    problems=("not-found", "not-yet", "being-built"),
    lane="costly",
)
@require()
def show_totals_of_episode(episode: str) -> Response:
    """The totals of one episode."""
    present = _present(negotiation.read_args())
    found(present.view.state.episodes.get(episode), f"episode {episode}")
    moves = [move for move in present.moves if move.episode == episode]
    return _totals(present, moves, episode=episode)


@trail.get("/trail/totals")
@describe(
    "Days that deliveries lost and gained in all, by cause, department and kind of retake",
    tag="episodes",
    details="Of the whole studio, or of one show.",
    query=queries.TOTALS_QUERY,
    dates=True,
    answers={200: Answer("The totals.", {JSON: shapes.TOTALS}, READ_HEADERS)},
    problems=("not-found", "not-yet", "being-built"),
    lane="costly",
)
@require()
def show_totals() -> Response:
    """The totals of the studio or of a show."""
    args = negotiation.read_args()
    present = _present(args)
    show = args.get("show")
    if show is None:
        return _totals(present, present.moves)
    found(present.view.state.shows.get(show), f"show {show}")
    moves = [move for move in present.moves if move.episode.startswith(f"{show}-")]
    return _totals(present, moves, show=show)


def _present(args: Mapping[str, Any]) -> Present:
    reading = read_now(args)
    return services().trails.of(reading.studio).present(reading.position)


def _reading(present: Present) -> Reading:
    view = present.view
    studio = services().studios.of(g.token.studio).warm
    return Reading(studio, view, view.state, view.position, view.now_min)


def _page(
    present: Present, episode: str, args: Mapping[str, Any], after: int
) -> tuple[list[DateMove], int]:
    """The rows of a page and one more if there is one, and how many of them are stored."""
    which = {name: args[name] for name in _FILTERS if name in args}
    with services().engine.connect() as connection:
        moves = rows.page(
            connection,
            g.token.studio,
            episode,
            until_min=present.stored.at_min,
            after=after,
            limit=args["limit"] + 1,
            **which,
        )
    stored = len(moves)
    if stored <= args["limit"]:
        moves += [
            move for move in present.moves if rows.is_asked(move, episode, after=after, **which)
        ]
    return moves[: args["limit"] + 1], stored


def _totals(present: Present, moves: list[DateMove], **of: str) -> Response:
    with services().engine.connect() as connection:
        shares = rows.shares(connection, g.token.studio, until_min=present.stored.at_min, **of)
    shares += [share_of(move) for move in moves]
    return answer(_reading(present), lambda: shown_totals(shares), present.stored)
