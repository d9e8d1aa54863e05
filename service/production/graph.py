"""Arcs between visits: within an item, from an element to its users, between same-as scenes.

A scene that does not visit a department itself (an element or another scene provides) is passed
through: what it follows there is followed by whatever stands behind.

Scenes may reuse each other in long chains, and by several ways at once. Every walk over them looks
at each scene once and keeps its own list of what is left, so that it takes time in proportion to
the scenes and no call is nested in another.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from service.production.route import RouteArc, Strands
from service.production.state import AnyState, Element, Episode, Node, SameAs, Scene


class NodeArc(NamedTuple):
    """The visit at the other end of an arc, and what the arc carries."""

    node: Node
    strands: Strands


def predecessors(state: AnyState, item: str, department: str) -> list[NodeArc]:
    """Visits that must be handed off before this one can start; none of what is not visited."""
    scene = state.scenes.get(item)
    if scene is not None:
        return _before_scene(state, item, scene, department)
    element = state.elements.get(item)
    if element is not None:
        return _beside_element(item, element, department, -1)
    episode = state.episodes.get(item)
    return [] if episode is None else _before_episode(state, item, episode, department)


def successors(state: AnyState, item: str, department: str) -> list[NodeArc]:
    """Visits that wait for this one: the inverse of `predecessors`."""
    scene = state.scenes.get(item)
    if scene is not None:
        return _behind_scene(state, item, scene, department)
    element = state.elements.get(item)
    if element is not None:
        return _behind_element(state, item, element, department)
    episode = state.episodes.get(item)
    return [] if episode is None else _behind_episode(state, item, episode, department)


def _joined(arcs: Iterable[NodeArc]) -> list[NodeArc]:
    """Arcs from the same visit become one that carries all their strands."""
    joined: dict[Node, Strands] = {}
    for arc in arcs:
        strands = joined.get(arc.node)
        joined[arc.node] = arc.strands if strands is None else strands | arc.strands
    return [NodeArc(node, strands) for node, strands in joined.items()]


def _own_arcs(
    state: AnyState, item: str, scene: Scene, arcs: tuple[RouteArc, ...]
) -> Iterator[NodeArc]:
    """Arcs of a scene's route as arcs to its own visits and to those of its episode."""
    for department, strands in arcs:
        if department in scene.departments:
            yield NodeArc((item, department), strands)
        # an episode opened on an earlier route may not make a visit that the scene's route has
        elif department in state.episodes[scene.episode].route.episode_departments:
            yield NodeArc((scene.episode, department), strands)


def _before_scene(state: AnyState, item: str, scene: Scene, department: str) -> list[NodeArc]:
    if department not in scene.departments:
        return []
    arcs = list(_own_arcs(state, item, scene, scene.route.arcs_of(scene.departments)[department]))
    for used in scene.elements:
        element = state.elements[used]
        for stay, before in element.route.joins[element.kind]:
            if before == department:
                arcs.append(NodeArc((used, stay), element.route.carries(element.kind)))
    if not scene.same_as:
        return arcs
    for same in scene.same_as:
        if same.joins == department:
            arcs.extend(from_source(state, scene, same))
    return _joined(arcs)


def from_source(state: AnyState, scene: Scene, same: SameAs) -> Iterator[NodeArc]:
    """What a reusing scene waits for in its source."""
    skipped = scene.route.skipped(same.joins, same.strands)
    for arc in scene.route.follows[same.joins]:
        carried = arc.strands & same.strands
        if carried and (same.levels or arc.department in skipped):
            yield from _provided(state, same.source, arc.department, carried)


def _provided(state: AnyState, item: str, department: str, strands: Strands) -> Iterator[NodeArc]:
    """Who provides a scene's work of a department: the scene, its element, or its own source."""
    scenes = [item]
    seen = {item}
    for name in scenes:  # grows by the sources of those that do not make it themselves
        scene = state.scenes[name]
        if department in scene.departments:
            yield NodeArc((name, department), strands)
            continue
        for used in scene.elements:
            element = state.elements[used]
            if department in element.route.kinds[element.kind].replaces:
                # whoever takes it over waits, like the scene itself, for the making and approval
                for stay, _ in element.route.joins[element.kind]:
                    yield NodeArc((used, stay), strands)
        for same in scene.same_as:
            if same.source not in seen and _takes_over(scene, same, department):
                seen.add(same.source)
                scenes.append(same.source)


def _takes_over(scene: Scene, same: SameAs, department: str) -> bool:
    """Whether a scene leaves the whole work of a department to the source that it reuses."""
    return not same.levels and department in scene.route.skipped(same.joins, same.strands)


def _joined_from(state: AnyState, scenes: Iterable[str], department: str) -> Iterator[NodeArc]:
    """Where scenes join what some scenes have of a department, directly or through others.

    The inverse of `from_source` and `_provided`: a scene that leaves the department's work to its
    source hands the source's on to those that reuse it.
    """
    sources = list(scenes)
    seen = set(sources)
    for source in sources:  # grows by those that hand it on
        for name in state.reusers.get(source, ()):
            scene = state.scenes[name]
            for same in scene.same_as:
                if same.source != source:
                    continue
                yield from _at_join(name, scene, same, department)
                if (
                    name not in seen
                    and department not in scene.departments
                    and _takes_over(scene, same, department)
                ):
                    seen.add(name)
                    sources.append(name)


def _at_join(name: str, scene: Scene, same: SameAs, department: str) -> Iterator[NodeArc]:
    """The arc from a source's work of a department to where a scene joins it, if there is one."""
    if same.joins in scene.departments:
        reused = same.levels or department in scene.route.skipped(same.joins, same.strands)
        for before, strands in scene.route.follows[same.joins] if reused else ():
            carried = strands & same.strands
            if before == department and carried:
                yield NodeArc((name, same.joins), carried)


def _beside_element(item: str, element: Element, department: str, step: int) -> list[NodeArc]:
    """The visit of an element just before (-1) or behind (1) another, if there is one."""
    if department not in element.departments:
        return []
    place = element.departments.index(department) + step
    if not 0 <= place < len(element.departments):
        return []
    return [NodeArc((item, element.departments[place]), element.route.carries(element.kind))]


def _before_episode(state: AnyState, item: str, episode: Episode, department: str) -> list[NodeArc]:
    """What an episode's visit waits for: its own visits and those of all its scenes."""
    own = episode.route.episode_departments
    if department not in own:
        return []
    if not episode.scenes:
        sceneless = episode.route.arcs_without_scenes()[department]
        return [NodeArc((item, arc.department), arc.strands) for arc in sceneless]
    arcs = [
        NodeArc((item, arc.department), arc.strands)
        for arc in episode.route.follows[department]
        if arc.department in own
    ]
    if not episode.route.gathers_scenes(department) and _one_route(state, episode):
        return arcs
    through: list[NodeArc] = []
    for name in episode.scenes:
        scene = state.scenes[name]
        if department in scene.departments:
            continue  # on its own route it is the scene that visits it
        for before, strands in scene.route.arcs_of(scene.departments).get(department, ()):
            if before in scene.departments:
                arcs.append(NodeArc((name, before), strands))
            elif before in own:
                through.append(NodeArc((item, before), strands))
    return _joined([*arcs, *through]) if through else arcs


def _behind_scene(state: AnyState, item: str, scene: Scene, department: str) -> list[NodeArc]:
    if department not in scene.departments:
        return []
    behind = scene.route.behind_of(scene.departments).get(department, ())
    arcs = list(_own_arcs(state, item, scene, behind))
    if item in state.reusers:
        arcs.extend(_joined(_joined_from(state, [item], department)))
    return arcs


def _behind_element(state: AnyState, item: str, element: Element, department: str) -> list[NodeArc]:
    arcs = _beside_element(item, element, department, 1)
    for stay, before in element.route.joins[element.kind]:
        if stay == department:
            arcs += _into_users(state, element, before)
    return _joined(arcs)


def _into_users(state: AnyState, element: Element, feeds: str) -> Iterator[NodeArc]:
    """Arcs from a visit of an element to what it feeds in the scenes that use it.

    Where the element makes what its users would else make themselves, those that reuse a user wait
    for it as well.
    """
    strands = element.route.carries(element.kind)
    for user in element.scenes:
        if feeds in state.scenes[user].departments:
            yield NodeArc((user, feeds), strands)
    reused = [user for user in element.scenes if user in state.reusers]
    for department in element.route.kinds[element.kind].replaces if reused else ():
        makers = [user for user in reused if department not in state.scenes[user].departments]
        yield from _joined_from(state, makers, department)


def _behind_episode(state: AnyState, item: str, episode: Episode, department: str) -> list[NodeArc]:
    own = episode.route.episode_departments
    if department not in own:
        return []
    if not episode.scenes:
        return [
            NodeArc((item, name), arc.strands)
            for name, sceneless in episode.route.arcs_without_scenes().items()
            for arc in sceneless
            if arc.department == department
        ]
    arcs = [
        NodeArc((item, arc.department), arc.strands)
        for arc in episode.route.followed_by[department]
        if arc.department in own
    ]
    if not episode.route.opens_scenes(department) and _one_route(state, episode):
        return arcs
    through: list[NodeArc] = []
    for name in episode.scenes:
        scene = state.scenes[name]
        if department in scene.departments:
            continue
        for behind, strands in scene.route.behind_of(scene.departments).get(department, ()):
            if behind in scene.departments:
                arcs.append(NodeArc((name, behind), strands))
            elif behind in own:
                through.append(NodeArc((item, behind), strands))
    return _joined([*arcs, *through]) if through else arcs


def _one_route(state: AnyState, episode: Episode) -> bool:
    """Whether all scenes of an episode take the episode's own route."""
    return len(state.shows[episode.show].routes) == 1


def reusers_of(state: AnyState, scenes: Iterable[str]) -> list[str]:
    """Scenes that reuse any of some scenes, directly or through others that do."""
    found: dict[str, None] = {}
    waiting = [name for scene in scenes for name in state.reusers.get(scene, ())]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = None
            waiting.extend(state.reusers.get(name, ()))
    return list(found)


def sources_of(state: AnyState, scenes: Iterable[str]) -> list[str]:
    """Scenes that any of some scenes reuse, directly or through others."""
    found: dict[str, None] = {}
    waiting = [same.source for scene in scenes for same in state.scenes[scene].same_as]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = None
            waiting.extend(same.source for same in state.scenes[name].same_as)
    return list(found)
