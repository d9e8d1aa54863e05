"""Episodes and their gates."""

from collections.abc import Mapping
from functools import cache
from typing import Any

from flask import Blueprint, Response

from service.planning.plan.standing import counts_by_episode
from service.production.state import State
from service.vocabulary import cautions
from service.vocabulary.identifiers import natural_order
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.episodes import answers as shapes
from service.web.nouns.episodes import arguments as queries
from service.web.nouns.episodes.answers import (
    WholeEpisodeShown,
    shown_episode,
    shown_episode_whole,
)
from service.web.reading import Reading, answer, found, page_answer, read_now, read_page
from service.web.schemas.reading import PAGE_HEADERS, READ, READ_HEADERS

episodes = Blueprint("episodes", __name__)


@episodes.get("/episodes")
@describe(
    "The episodes, each with its gates and how its visits stand",
    tag="episodes",
    query=queries.EPISODES_QUERY,
    dates=True,
    answers={200: Answer("A page of episodes.", {JSON: shapes.EPISODES}, PAGE_HEADERS)},
    problems=("not-yet",),
)
@require()
def list_episodes() -> Response:
    """A page of episodes, in their order."""
    args = negotiation.read_args()
    page = read_page(args)
    reading = page.reading

    @cache  # once for all, and not where the client has the answer already
    def counts() -> Mapping[str, Mapping[str, int]]:
        return counts_by_episode(reading.schedule.board, reading.standings.codes)

    return page_answer(
        page,
        _chosen(reading.state, args),
        lambda name: shown_episode(reading.standings, name, _counted(reading, name, counts())),
    )


def _chosen(state: State, args: Mapping[str, Any]) -> list[str]:
    names = [
        name
        for name, episode in state.episodes.items()
        if args.get("show") in {None, episode.show}
        and args.get("delivered") in {None, episode.delivered}
    ]
    return sorted(names, key=lambda name: (natural_order(name), name))


def _counted(
    reading: Reading, name: str, counts: Mapping[str, Mapping[str, int]]
) -> Mapping[str, int]:
    counted = counts.get(name)
    if counted is not None:
        return counted
    return reading.standings.count((name, *reading.state.episodes[name].scenes))


@episodes.get("/episodes/<episode>")
@describe(
    "One episode: its gates, its length, and the visit on which its delivery waits",
    tag="episodes",
    query=READ,
    cautions=(cautions.PEOPLE,),
    dates=True,
    answers={200: Answer("The episode.", {JSON: shapes.EPISODE}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def show_episode(episode: str) -> Response:
    """One episode."""
    reading = read_now(negotiation.read_args())
    found(reading.state.episodes.get(episode), f"episode {episode}")

    def make() -> WholeEpisodeShown:
        counts = counts_by_episode(reading.schedule.board, reading.standings.codes)
        counted = _counted(reading, episode, counts)
        return shown_episode_whole(reading.standings, episode, counted)

    return answer(reading, make)
