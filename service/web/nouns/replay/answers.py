"""A past state of an episode as JSON shows it."""

from collections.abc import Callable, Iterable
from typing import Annotated

from msgspec import UNSET, Raw, UnsetType

from service.planning.plan.standing import Standings
from service.production.decide import Retold
from service.vocabulary.instants import format_instant
from service.web.answers import Instant, Shown, answer_of, many, note, one_of
from service.web.nouns.episodes.answers import EpisodeShown, shown_episode
from service.web.nouns.replay.arguments import CLOCKS
from service.web.nouns.scenes.answers import SceneShown, shown_scene


class AgainstShown(Shown):
    """Why a fact does not fit."""

    code: Annotated[str, note("The stable name of the reason.")]
    detail: Annotated[str, note("The reason.")]


class SetAsideShown(Shown):
    """A fact that happened by then, but does not fit without others that did not."""

    position: Annotated[int, note("Its position.")]
    type: Annotated[str, note("Its type.")]
    subject: Annotated[str, note("What it is about.")]
    time: Annotated[Instant, note("When it happened.")]
    reasons: Annotated[
        list[AgainstShown], note("Why it does not fit; none shown of what is withheld.")
    ]


class ReplayShown(Shown):
    """An episode at a past moment; `now` is that moment, dates are those of the plan then."""

    clock: Annotated[str, one_of(CLOCKS, "As it was known then, or as it is known now.")]
    then: Annotated[EpisodeShown, note("The episode then.")]
    scenes: Annotated[list[SceneShown], note("All its scenes then.")]
    set_aside: Annotated[
        list[SetAsideShown], note("Facts that were set aside; none where clock=recorded.")
    ]


class ReplayedEventsShown(Shown):
    """A page of the events that led to a past state."""

    position: Annotated[int, note("The position of the log it is made of.")]
    now: Annotated[Instant, note("The moment replayed.")]
    items: Annotated[list[Raw], many("RecordedEvent", "The events, in order of position.")]
    next: Annotated[str | UnsetType, note("The cursor of what follows, if more does.")] = UNSET


def shown_replay(
    standings: Standings,
    episode: str,
    scenes: Iterable[str],
    clock: str,
    retold: Retold | None,
    hidden: Callable[[str], bool],
) -> ReplayShown:
    """The episode then, its scenes, and what did not fit into the facts of that time.

    `hidden` says of which types of event the reasons, which may hold figures, are not shown.
    """
    counts = standings.count((episode, *standings.state.episodes[episode].scenes))
    return ReplayShown(
        clock=clock,
        then=shown_episode(standings, episode, counts),
        scenes=[shown_scene(standings, name) for name in scenes],
        set_aside=[] if retold is None else _shown_set_aside(retold, hidden),
    )


def _shown_set_aside(retold: Retold, hidden: Callable[[str], bool]) -> list[SetAsideShown]:
    return [
        SetAsideShown(
            position=event.position,
            type=event.fact.TYPE,
            subject=event.subject,
            time=format_instant(event.time_us),
            reasons=[
                AgainstShown(code=reason.code.value, detail=reason.detail)
                for reason in reasons
                if not hidden(event.fact.TYPE)
            ],
        )
        for event, reasons in retold.set_aside
    ]


REPLAY = answer_of(ReplayShown, "ReplayShown")
