"""What is to look at in scenes that changed after work on them had begun.

Nothing is reopened by such a change: whoever supervises calls a retake, or says that it is fine.
Whether work had begun goes by the times of what was recorded, in whatever order it was told.
"""

from typing import NamedTuple

from service.production.lending import lent_visits
from service.production.route import Route
from service.production.state import AnyState, Node, Touched, visit_of
from service.production.visits import Move, Visit


class ToLookAt(NamedTuple):
    """A change of a scene, and the visits to look at: item, department and take."""

    change: Touched
    visits: tuple[tuple[str, str, int], ...]


def to_look_at(state: AnyState, scene: str) -> list[ToLookAt]:
    """What is still to look at in a scene: each change with the visits not redone since.

    Of a scene out of the picture only the episode's own visits count, and what others reuse.
    """
    found = []
    for change in state.touched.get(scene, ()):
        visits = tuple(
            (*node, take)
            for node in _nodes(state, scene, change)
            for visit in [visit_of(state, *node)]
            for take in [take_begun_by(visit, change.at_us)]
            # one opened since, or waiting then, is done with the change in view
            if take == visit.current.number
        )
        if visits:
            found.append(ToLookAt(change, visits))
    return found


def _nodes(state: AnyState, name: str, change: Touched) -> list[Node]:
    """The visits that a change touches.

    A scene's own where it is retimed; its episode's behind the scenes where the picture changes.
    """
    scene = state.scenes.get(name)
    if scene is None:
        return []
    nodes: list[Node] = []
    if change.change == "retimed":
        shown = lent_visits(state, name) if scene.omitted else scene.departments
        nodes += [(name, department) for department in scene.departments if department in shown]
    if change.frames_before or change.frames_after:
        episode = state.episodes[scene.episode]
        nodes += [(scene.episode, department) for department in behind_scenes(episode.route)]
    return nodes


def take_begun_by(visit: Visit, at_us: int) -> int | None:
    """The take that was open at an instant, if a desk had had it by then; else None.

    What desks say of that very instant counts. One that an omission put back counts as new.
    """
    take = visit.take_open(at_us)
    on_desk = done = False
    for entry in visit.entries:
        if not take.opened_us <= entry.at_us <= at_us:
            continue
        if entry.move is Move.CALL and entry.at_us == take.opened_us:
            on_desk = done = False  # what came before was of the take before
        elif entry.move is Move.START:
            on_desk = True
        elif entry.move is Move.HAND_OFF:
            on_desk, done = False, True
        elif entry.move is Move.OMIT:
            on_desk = False
    return take.number if on_desk or done else None


def behind_scenes(route: Route) -> tuple[str, ...]:
    """The departments of episode grain that stand behind those which work on scenes."""
    found: set[str] = set()
    for name in sorted(route.followed_by, key=route.rank.__getitem__):
        if name in route.scene_departments or name in found:
            found.update(arc.department for arc in route.followed_by[name])
    return tuple(name for name in route.episode_departments if name in found)
