"""A past state of an episode as JSON shows it."""

from collections.abc import Callable, Iterable

from service.planning.plan.standing import Standings
from service.production.decide import Retold
from service.web.representation.episodes import shown_episode
from service.web.representation.scenes import shown_scene
from service.web.representation.values import Shown, shown_us


def shown_replay(
    standings: Standings,
    episode: str,
    scenes: Iterable[str],
    retold: Retold | None,
    hidden: Callable[[str], bool],
) -> Shown:
    """The episode then, its scenes, and what did not fit into the facts of that time.

    `hidden` says of which types of event the reasons, which may hold figures, are not shown.
    """
    counts = standings.count((episode, *standings.state.episodes[episode].scenes))
    return {
        "then": shown_episode(standings, episode, counts),
        "scenes": [shown_scene(standings, name) for name in scenes],
        "set_aside": [] if retold is None else _shown_set_aside(retold, hidden),
    }


def _shown_set_aside(retold: Retold, hidden: Callable[[str], bool]) -> list[Shown]:
    return [
        {
            "position": event.position,
            "type": event.fact.TYPE,
            "subject": event.subject,
            "time": shown_us(event.time_us),
            "reasons": [
                {"code": reason.code.value, "detail": reason.detail}
                for reason in reasons
                if not hidden(event.fact.TYPE)
            ],
        }
        for event, reasons in retold.set_aside
    ]
