"""Episodes: opened, and delivered."""

from service.production.asking import (
    Reasons,
    tables_on_route,
    the_episode,
)
from service.production.lending import Lending
from service.production.marking import add_mark
from service.production.marks import OPEN_VISITS, STILL_NEEDED
from service.production.meeting import meetings_at_delivery
from service.production.nouns.rule import Rule
from service.production.nouns.shows import check_route, show_and_route
from service.production.oddities import mark_alike
from service.production.refusal import Code, Reason
from service.production.state import (
    Draft,
    Episode,
    departments_of,
)
from service.production.takes import Phase
from service.vocabulary.event import Event
from service.vocabulary.facts.office import EpisodeOpened
from service.vocabulary.facts.supervision import EpisodeDelivered


def check_episode_opened(draft: Draft, event: Event, fact: EpisodeOpened) -> Reasons:
    """An episode opens once, on a route."""
    if event.subject in draft.episodes:
        yield Reason(Code.EXISTS, f"episode {event.subject} is open already", "/subject")
    route = yield from check_route(draft, event)
    if route is not None:
        yield from tables_on_route(route.episode_departments, fact.difficulty, fact.work)


def apply_episode_opened(draft: Draft, event: Event, fact: EpisodeOpened) -> None:
    """An episode, by the route in force."""
    show, route = show_and_route(draft, event)
    mark_alike(draft, event)
    draft.episodes[event.subject] = Episode(
        title=fact.title,
        show=show,
        order=event.position,
        route=route,
        frames=fact.frames,
        difficulty=fact.difficulty,
        work=fact.work,
    )


def _say_episode_opened(event: Event, fact: EpisodeOpened) -> str:
    return f"The episode {event.subject} was opened."


def check_episode_delivered(draft: Draft, event: Event, fact: EpisodeDelivered) -> Reasons:
    """An episode may be delivered once."""
    yield from the_episode(draft, event.subject)
    episode = draft.episodes.get(event.subject)
    if episode is not None and episode.delivered:
        yield Reason(Code.CONTRADICTION, f"{event.subject} is delivered already", "/subject")


def apply_episode_delivered(draft: Draft, event: Event, fact: EpisodeDelivered) -> None:
    """An episode has left the studio; how its gates stand then is kept for good."""
    episode = draft.episodes[event.subject]
    met = meetings_at_delivery(draft, event.subject, event.time_us)
    draft.episodes[event.subject] = episode._replace(delivered_us=event.time_us, met=met)
    scenes = ((name, draft.scenes[name]) for name in episode.scenes)
    in_picture = ((name, scene.departments) for name, scene in scenes if not scene.omitted)
    items = [(event.subject, departments_of(episode)), *in_picture]
    if not all(_handed_off(draft, item, departments) for item, departments in items):
        add_mark(draft, event.position, OPEN_VISITS)
    lending = Lending(draft)
    if any(lending.still_to_do(scene) for scene in episode.scenes):
        add_mark(draft, event.position, STILL_NEEDED)


def _say_episode_delivered(event: Event, fact: EpisodeDelivered) -> str:
    return f"{event.subject} was delivered."


def _handed_off(draft: Draft, item: str, departments: tuple[str, ...]) -> bool:
    visits = draft.visits.get(item, {})
    return all(
        department in visits and visits[department].takes[-1].phase is Phase.HANDED_OFF
        for department in departments
    )


RULES = {
    "episode.opened": Rule(check_episode_opened, apply_episode_opened, _say_episode_opened),
    "episode.delivered": Rule(
        check_episode_delivered, apply_episode_delivered, _say_episode_delivered
    ),
}
