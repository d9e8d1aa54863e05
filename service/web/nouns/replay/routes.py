"""Who knew what when: an episode at a past moment, and the events that led there."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from flask import Blueprint, Response, g, request
from msgspec import UNSET, Raw

from service.log.about import events_about
from service.log.read import position_at
from service.production.decide import Retold
from service.projections.diary import about_episode
from service.vocabulary import cautions
from service.vocabulary.instants import US_PER_MIN, format_min, parse_instant
from service.web import negotiation, paging
from service.web.access import require
from service.web.answers import encoded
from service.web.described import Answer, describe
from service.web.negotiation import JSON, invalid_query
from service.web.nouns.impacts.routes import event_at
from service.web.nouns.replay import answers as shapes
from service.web.nouns.replay import arguments as queries
from service.web.nouns.replay.answers import ReplayedEventsShown, ReplayShown, shown_replay
from service.web.nouns.scenes.routes import scenes_of
from service.web.pointers import FieldError
from service.web.reading import Reading, answer, found, read_now
from service.web.recorded import shown_events
from service.web.schemas.reading import PAGE_HEADERS, READ_HEADERS
from service.web.services import services
from service.web.visibility import withheld

replay = Blueprint("replay", __name__)


@dataclass(frozen=True)
class _Then:
    """A past state, the instant it is of, and what was set aside (None: as it was known then)."""

    reading: Reading
    at_us: int
    retold: Retold | None


@replay.get("/episodes/<episode>/replay")
@describe(
    "An episode at a past moment",
    tag="episodes",
    details="As it was known when the log stood at a position or at an instant, or as it is now "
    "known to have been then. Dates are those of the plan made at that moment.",
    query=queries.REPLAY_QUERY,
    cautions=(cautions.PEOPLE,),
    dates=True,
    answers={200: Answer("The episode then.", {JSON: shapes.REPLAY}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
    lane="costly",
)
@require()
def show_replay(episode: str) -> Response:
    """The episode then, with all its scenes."""
    args = negotiation.read_args()
    then = _then(args, episode)
    reading = then.reading

    def make() -> ReplayShown:
        names, hidden = scenes_of(reading.state, episode), partial(withheld, g.token)
        return shown_replay(reading.standings, episode, names, args["clock"], then.retold, hidden)

    return answer(reading, make)


@replay.get("/episodes/<episode>/replay/events")
@describe(
    "The events that led to where an episode stood at a past moment",
    tag="episodes",
    details="Events about the episode, its scenes and the elements they use, and retakes that "
    "reach it; those struck by then, or set aside, are left out.",
    query=queries.REPLAY_EVENTS_QUERY,
    answers={200: Answer("A page of events.", {JSON: ReplayedEventsShown}, PAGE_HEADERS)},
    problems=("not-found", "not-yet"),
    lane="costly",
)
@require()
def list_replay_events(episode: str) -> Response:
    """A page of the events, in order of position."""
    args = negotiation.read_args()
    then = _then(args, episode)
    filters = _filters()
    this_list = paging.of_this_list(filters)
    after = paging.number_of(args, this_list)
    bodies, last = _page(then, episode, after, args["limit"])
    cursor = None if last is None else paging.make_cursor([last], this_list)
    raw = encoded(
        ReplayedEventsShown(
            position=then.reading.position,
            now=format_min(then.reading.now_min),
            items=[Raw(body) for body in bodies],
            next=cursor or UNSET,
        )
    )
    made = Response(raw, content_type=JSON)
    if cursor is not None:
        paging.say_next(made, filters, args["limit"], cursor)
    return negotiation.with_etag(
        made, negotiation.etag_of(g.token.studio, then.reading.position, raw)
    )


def _filters() -> dict[str, str]:
    return {
        name: request.args[name] for name in ("position", "at", "clock") if name in request.args
    }


def _page(then: _Then, episode: str, after: int, limit: int) -> tuple[list[bytes], int | None]:
    """The events of a page as this token may read them, and the last position if more follow."""
    reading = then.reading
    without = set(reading.studio.history.struck_at(reading.position))
    if then.retold is not None:
        without |= {event.position for event, _ in then.retold.set_aside}
    with services().engine.connect() as connection:
        page, more = events_about(
            connection,
            g.token.studio,
            about_episode(reading.state, episode),
            after=after,
            limit=limit,
            until_position=reading.position,
            without=sorted(without),
            time_until_us=None if then.retold is None else then.at_us,
            bytes_max=services().page_bytes_max,
        )
        shown = shown_events(connection, page, g.token)
    return shown, page[-1].position if more else None


def _then(args: Mapping[str, Any], episode: str) -> _Then:
    """The state that is asked for. Raises ProblemError (400, 404)."""
    if "at" in args and "at_position" in args:
        detail = "Say either position or at."
        raise invalid_query(FieldError("?at", detail, "one-or-the-other"))
    least = max(args["min_position"], args.get("at_position", 0))
    reading = read_now({"min_position": least})
    made = _happened(reading, args) if args["clock"] == "happened" else _recorded(reading, args)
    found(made.reading.state.episodes.get(episode), f"episode {episode} at that time")
    return made


def _recorded(reading: Reading, args: Mapping[str, Any]) -> _Then:
    """As it was known then."""
    if "at_position" not in args and "at" not in args:
        return _Then(reading, reading.view.now_us, None)
    at_us = _instant_us(reading, args)
    position = args.get("at_position")
    if position is None:
        with services().engine.connect() as connection:
            position = position_at(connection, g.token.studio, at_us)
        position = min(position, reading.position)
    state = reading.studio.history.as_known_at(position)
    return _Then(reading.at(state, position, at_us // US_PER_MIN), at_us, None)


def _happened(reading: Reading, args: Mapping[str, Any]) -> _Then:
    """As it is now known to have been then."""
    at_us = _instant_us(reading, args)
    retold = reading.studio.history.as_it_happened(at_us, reading.position)
    then = reading.at(retold.state, reading.position, at_us // US_PER_MIN)
    return _Then(then, at_us, retold)


def _instant_us(reading: Reading, args: Mapping[str, Any]) -> int:
    """The instant asked for: now, an instant, or when a position was recorded."""
    if "at_position" in args:
        return event_at(reading, args["at_position"]).recorded_us
    if "at" not in args:
        return reading.view.now_us
    at_us = parse_instant(args["at"])
    if at_us > reading.view.now_us:
        detail = "This lies in the future; ask for an instant up to now."
        raise invalid_query(FieldError("?at", detail, "in-future"))
    return at_us
