"""How a change of a scene is noted against the work that was begun before it.

A scene that gets another length, or comes into the picture or leaves it, is not what was worked on.
Nothing is reopened by that: whoever supervises calls a retake, or says that it is fine.
"""

from service.production.evolve.marking import add_mark
from service.production.marks import WORK_BEGUN
from service.production.reach import was_begun
from service.production.state import Draft, Node, Touched, visit_of
from service.production.touched import behind_scenes
from service.vocabulary.event import Event


def touch(draft: Draft, event: Event, frames: tuple[int, int], *, own: bool) -> None:
    """Note which begun visits a change of a scene touches, and flag the event if there are any.

    `frames` are the scene's part of the picture before and after; `own` says whether the scene's
    own visits are touched besides those of its episode that stand behind scenes.
    """
    name = event.subject
    scene = draft.scenes[name]
    nodes: list[Node] = [(name, department) for department in scene.departments] if own else []
    episode = draft.episodes[scene.episode]
    nodes += [(scene.episode, department) for department in behind_scenes(episode.route)]
    begun = tuple(
        (*node, visit_of(draft, *node).current.number) for node in nodes if was_begun(draft, node)
    )
    if begun:
        _, _, change = event.fact.TYPE.partition(".")
        noted = Touched(event.position, event.time_us, change, *frames, begun)
        draft.touched[name] = (*draft.touched.get(name, ()), noted)
        add_mark(draft, event.position, WORK_BEGUN)
