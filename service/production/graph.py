"""Arcs between visits: within an item, from an element to its users, between same-as scenes.

A scene that does not visit a department itself (an element or another scene provides) is passed
through: what it follows there is followed by whatever stands behind.
"""

from collections.abc import Iterator
from typing import NamedTuple

from service.production.route import Strands
from service.production.state import Element, Episode, Known, Node, SameAs, Scene


class NodeArc(NamedTuple):
    """The visit at the other end of an arc, and what the arc carries."""

    node: Node
    strands: Strands


def predecessors(known: Known, item: str, department: str) -> list[NodeArc]:
    """Visits that must be handed off before this one can start."""
    scene = known.scenes.get(item)
    if scene is not None:
        return _joined(_before_scene(known, item, scene, department))
    element = known.elements.get(item)
    if element is not None:
        return _before_element(item, element, department)
    episode = known.episodes.get(item)
    return [] if episode is None else _joined(_before_episode(known, item, episode, department))


def successors(known: Known, item: str, department: str) -> list[NodeArc]:
    """Visits that wait for this one: the inverse of `predecessors`."""
    here = (item, department)
    found: dict[Node, Strands] = {}
    for node in _candidates(known, item, department):
        for arc in predecessors(known, *node):
            if arc.node == here:
                found[node] = arc.strands
    scene = known.scenes.get(item)
    if scene is not None:
        # asked of this scene alone: its episode's visits wait for some hundred others too
        for name in scene.route.episode_departments:
            for arc in _scene_before_episode(item, scene, name):
                if arc.node == here:
                    found[scene.episode, name] = arc.strands
    return [NodeArc(node, strands) for node, strands in found.items()]


def _joined(arcs: Iterator[NodeArc]) -> list[NodeArc]:
    """Arcs from the same visit become one that carries all their strands."""
    joined: dict[Node, Strands] = {}
    for arc in arcs:
        known = joined.get(arc.node)
        joined[arc.node] = arc.strands if known is None else known | arc.strands
    return [NodeArc(node, strands) for node, strands in joined.items()]


def _before_scene(known: Known, item: str, scene: Scene, department: str) -> Iterator[NodeArc]:
    for name, strands in scene.route.arcs_of(scene.departments).get(department, ()):
        own = name in scene.departments
        yield NodeArc((item if own else scene.episode, name), strands)
    for used in scene.elements:
        element = known.elements[used]
        kind = element.route.kinds[element.kind]
        if kind.feeds == department:
            yield NodeArc((used, element.departments[-1]), frozenset({kind.strand}))
    for same in scene.same_as:
        if same.joins == department:
            yield from _from_source(known, scene, same)


def _from_source(known: Known, scene: Scene, same: SameAs) -> Iterator[NodeArc]:
    """What a reusing scene waits for in its source."""
    skipped = scene.route.skipped(same.joins, same.strands)
    for arc in scene.route.follows[same.joins]:
        carried = arc.strands & same.strands
        if carried and (same.levels or arc.department in skipped):
            yield from _provided(known, same.source, arc.department, carried)


def _provided(known: Known, item: str, department: str, strands: Strands) -> Iterator[NodeArc]:
    """Who provides a scene's work of a department: the scene, its element, or its own source."""
    scene = known.scenes[item]
    if department in scene.departments:
        yield NodeArc((item, department), strands)
        return
    for name in scene.elements:
        element = known.elements[name]
        if department in element.route.kinds[element.kind].replaces:
            yield NodeArc((name, element.departments[-1]), strands)
    for same in scene.same_as:
        if not same.levels and department in scene.route.skipped(same.joins, same.strands):
            yield from _provided(known, same.source, department, strands)


def _before_element(item: str, element: Element, department: str) -> list[NodeArc]:
    place = element.departments.index(department) if department in element.departments else 0
    if place == 0:
        return []
    kind = element.route.kinds[element.kind]
    return [NodeArc((item, element.departments[place - 1]), frozenset({kind.strand}))]


def _before_episode(
    known: Known, item: str, episode: Episode, department: str
) -> Iterator[NodeArc]:
    for arc in episode.route.follows.get(department, ()):
        if arc.department in episode.route.episode_departments:
            yield NodeArc((item, arc.department), arc.strands)
    for name in episode.scenes:
        yield from _scene_before_episode(name, known.scenes[name], department)


def _scene_before_episode(item: str, scene: Scene, department: str) -> Iterator[NodeArc]:
    """What an episode's visit waits for in one of its scenes."""
    for name, strands in scene.route.arcs_of(scene.departments).get(department, ()):
        yield NodeArc((item, name), strands)


def reusers_of(known: Known, scene: str) -> list[str]:
    """Scenes that reuse a scene, directly or through others that do."""
    found: dict[str, None] = {}
    waiting = list(known.reusers.get(scene, ()))
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = None
            waiting.extend(known.reusers.get(name, ()))
    return list(found)


def _candidates(known: Known, item: str, department: str) -> Iterator[Node]:
    """Visits that may follow, each once: all that do are among them."""
    scene = known.scenes.get(item)
    if scene is not None:
        for name in scene.departments:
            yield item, name
        yield from _joins(known, reusers_of(known, item))
        return
    element = known.elements.get(item)
    if element is not None:
        yield from _behind_element(known, item, element, department)
        return
    episode = known.episodes.get(item)
    if episode is not None:
        for name in episode.route.episode_departments:
            yield item, name
        for number in episode.scenes:
            for name in known.scenes[number].departments:
                yield number, name


def _behind_element(known: Known, item: str, element: Element, department: str) -> Iterator[Node]:
    place = element.departments.index(department) if department in element.departments else -1
    if 0 <= place < len(element.departments) - 1:
        yield item, element.departments[place + 1]
        return
    feeds = element.route.kinds[element.kind].feeds
    nodes: dict[Node, None] = {}
    for user in element.scenes:
        if feeds in known.scenes[user].departments:
            nodes[user, feeds] = None
        nodes.update(dict.fromkeys(_joins(known, reusers_of(known, user))))
    yield from nodes


def _joins(known: Known, scenes: list[str]) -> Iterator[Node]:
    for name in scenes:
        for department in sorted({same.joins for same in known.scenes[name].same_as}):
            yield name, department
