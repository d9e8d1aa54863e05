"""Arcs between visits: within an item, from an element to its users, between same-as scenes.

A scene that does not visit a department itself (an element or another scene provides) is passed
through: what it follows there is followed by whatever stands behind.

A scene that is omitted, or whose episode is delivered, may still lend its art to others that reuse
it: `lent_visits` says which of its visits are needed for that, and these stay in the plan.
"""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from service.production.route import RouteArc, Strands
from service.production.state import Element, Episode, Known, Node, SameAs, Scene, visit_of
from service.production.visits import Phase


class NodeArc(NamedTuple):
    """The visit at the other end of an arc, and what the arc carries."""

    node: Node
    strands: Strands


def predecessors(known: Known, item: str, department: str) -> list[NodeArc]:
    """Visits that must be handed off before this one can start; none of what is not visited."""
    scene = known.scenes.get(item)
    if scene is not None:
        return _before_scene(known, item, scene, department)
    element = known.elements.get(item)
    if element is not None:
        return _beside_element(item, element, department, -1)
    episode = known.episodes.get(item)
    return [] if episode is None else _before_episode(known, item, episode, department)


def successors(known: Known, item: str, department: str) -> list[NodeArc]:
    """Visits that wait for this one: the inverse of `predecessors`."""
    scene = known.scenes.get(item)
    if scene is not None:
        return _behind_scene(known, item, scene, department)
    element = known.elements.get(item)
    if element is not None:
        return _behind_element(known, item, element, department)
    episode = known.episodes.get(item)
    return [] if episode is None else _behind_episode(known, item, episode, department)


def _joined(arcs: Iterable[NodeArc]) -> list[NodeArc]:
    """Arcs from the same visit become one that carries all their strands."""
    joined: dict[Node, Strands] = {}
    for arc in arcs:
        known = joined.get(arc.node)
        joined[arc.node] = arc.strands if known is None else known | arc.strands
    return [NodeArc(node, strands) for node, strands in joined.items()]


def _own_arcs(
    known: Known, item: str, scene: Scene, arcs: tuple[RouteArc, ...]
) -> Iterator[NodeArc]:
    """Arcs of a scene's route as arcs to its own visits and to those of its episode."""
    for department, strands in arcs:
        if department in scene.departments:
            yield NodeArc((item, department), strands)
        # an episode opened on an earlier route may not make a visit that the scene's route has
        elif department in known.episodes[scene.episode].route.episode_departments:
            yield NodeArc((scene.episode, department), strands)


def _before_scene(known: Known, item: str, scene: Scene, department: str) -> list[NodeArc]:
    if department not in scene.departments:
        return []
    arcs = list(_own_arcs(known, item, scene, scene.route.arcs_of(scene.departments)[department]))
    for used in scene.elements:
        element = known.elements[used]
        for stay, before in element.route.joins[element.kind]:
            if before == department:
                arcs.append(NodeArc((used, stay), element.route.carries(element.kind)))
    if not scene.same_as:
        return arcs
    for same in scene.same_as:
        if same.joins == department:
            arcs.extend(from_source(known, scene, same))
    return _joined(arcs)


def from_source(known: Known, scene: Scene, same: SameAs) -> Iterator[NodeArc]:
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
            # whoever takes it over waits, like the scene itself, for the making and the approval
            for stay, _ in element.route.joins[element.kind]:
                yield NodeArc((name, stay), strands)
    for same in scene.same_as:
        if not same.levels and department in scene.route.skipped(same.joins, same.strands):
            yield from _provided(known, same.source, department, strands)


def _beside_element(item: str, element: Element, department: str, step: int) -> list[NodeArc]:
    """The visit of an element just before (-1) or behind (1) another, if there is one."""
    if department not in element.departments:
        return []
    place = element.departments.index(department) + step
    if not 0 <= place < len(element.departments):
        return []
    return [NodeArc((item, element.departments[place]), element.route.carries(element.kind))]


def _before_episode(known: Known, item: str, episode: Episode, department: str) -> list[NodeArc]:
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
    if not episode.route.gathers_scenes(department) and _one_route(known, episode):
        return arcs
    through: list[NodeArc] = []
    for name in episode.scenes:
        scene = known.scenes[name]
        if department in scene.departments:
            continue  # on its own route it is the scene that visits it
        for before, strands in scene.route.arcs_of(scene.departments).get(department, ()):
            if before in scene.departments:
                arcs.append(NodeArc((name, before), strands))
            elif before in own:
                through.append(NodeArc((item, before), strands))
    return _joined([*arcs, *through]) if through else arcs


def _behind_scene(known: Known, item: str, scene: Scene, department: str) -> list[NodeArc]:
    if department not in scene.departments:
        return []
    behind = scene.route.behind_of(scene.departments).get(department, ())
    arcs = list(_own_arcs(known, item, scene, behind))
    if item in known.reusers:
        arcs.extend(_at_joins(known, (item, department), reusers_of(known, item)))
    return arcs


def _behind_element(known: Known, item: str, element: Element, department: str) -> list[NodeArc]:
    arcs = {arc.node: arc for arc in _beside_element(item, element, department, 1)}
    for stay, before in element.route.joins[element.kind]:
        if stay == department:
            arcs.update(_into_users(known, (item, department), element, before))
    return list(arcs.values())


def _into_users(known: Known, here: Node, element: Element, feeds: str) -> dict[Node, NodeArc]:
    """Arcs from a visit of an element to what it feeds in the scenes that use it."""
    strands = element.route.carries(element.kind)
    arcs: dict[Node, NodeArc] = {}
    for user in element.scenes:
        scene, node = known.scenes[user], (user, feeds)
        if not scene.same_as:
            if feeds in scene.departments:
                arcs[node] = NodeArc(node, strands)
        else:
            # the arc may carry what the scene waits for in its source besides
            arcs.update((arc.node, arc) for arc in _waiting_for(known, here, [node]))
        if user in known.reusers:
            joins = _at_joins(known, here, reusers_of(known, user))
            arcs.update((arc.node, arc) for arc in joins)
    return arcs


def _behind_episode(known: Known, item: str, episode: Episode, department: str) -> list[NodeArc]:
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
    if not episode.route.opens_scenes(department) and _one_route(known, episode):
        return arcs
    through: list[NodeArc] = []
    for name in episode.scenes:
        scene = known.scenes[name]
        if department in scene.departments:
            continue
        for behind, strands in scene.route.behind_of(scene.departments).get(department, ()):
            if behind in scene.departments:
                arcs.append(NodeArc((name, behind), strands))
            elif behind in own:
                through.append(NodeArc((item, behind), strands))
    return _joined([*arcs, *through]) if through else arcs


def _one_route(known: Known, episode: Episode) -> bool:
    """Whether all scenes of an episode take the episode's own route."""
    return len(known.shows[episode.show].routes) == 1


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


def sources_of(known: Known, scene: str) -> list[str]:
    """Scenes that a scene reuses, directly or through others."""
    found: dict[str, None] = {}
    waiting = [same.source for same in known.scenes[scene].same_as]
    while waiting:
        name = waiting.pop()
        if name not in found:
            found[name] = None
            waiting.extend(same.source for same in known.scenes[name].same_as)
    return list(found)


def borrowers(
    known: Known, scene: str, out: frozenset[str] = frozenset()
) -> dict[str, frozenset[str]]:
    """By department, the scenes in the picture that reuse what a scene's visit there makes.

    They are those that wait for the visit, or for one that stands behind it in the same scene. A
    scene in the picture is one that is not omitted and whose episode is not delivered; those named
    in `out` count as omitted. One that is out of the picture itself passes on what it lends.
    """
    found: dict[str, frozenset[str]] = {}
    for name in reusers_of(known, scene) if scene in known.reusers else ():
        shown = in_picture(known, name, out)
        passed_on = {} if shown else borrowers(known, name, out)
        for joins in {same.joins for same in known.scenes[name].same_as}:
            users = frozenset({name}) if shown else passed_on.get(joins, frozenset())
            arcs = predecessors(known, name, joins) if users else ()
            waited_for = [arc.node[1] for arc in arcs if arc.node[0] == scene]
            for department in _with_those_before(known.scenes[scene], waited_for):
                found[department] = found.get(department, frozenset()) | users
    return found


def lent_visits(known: Known, scene: str, out: frozenset[str] = frozenset()) -> frozenset[str]:
    """Departments at which scenes in the picture need a scene's visits: those with `borrowers`."""
    return frozenset(borrowers(known, scene, out))


def still_to_do(known: Known, scene: str) -> list[str]:
    """Departments, in route order, whose visits of a scene others need and wait for."""
    lent = lent_visits(known, scene)
    return [
        name
        for name in known.scenes[scene].departments
        if name in lent and visit_of(known, scene, name).current.phase is not Phase.HANDED_OFF
    ]


def in_picture(known: Known, scene: str, out: frozenset[str] = frozenset()) -> bool:
    """Whether a scene is neither omitted (nor named in `out`) nor in a delivered episode."""
    record = known.scenes[scene]
    undelivered = known.episodes[record.episode].delivered_us < 0
    return undelivered and not record.omitted and scene not in out


def _with_those_before(scene: Scene, departments: Iterable[str]) -> frozenset[str]:
    """Departments and all that stand before them among those that a scene visits."""
    arcs = scene.route.arcs_of(scene.departments)
    found: set[str] = set()
    waiting = list(departments)
    while waiting:
        name = waiting.pop()
        if name in scene.departments and name not in found:
            found.add(name)
            waiting += [arc.department for arc in arcs[name]]
    return frozenset(found)


def _at_joins(known: Known, here: Node, reusers: list[str]) -> Iterator[NodeArc]:
    """Arcs from a visit to where reusing scenes join."""
    for name in reusers:
        joins = sorted({same.joins for same in known.scenes[name].same_as})
        yield from _waiting_for(known, here, [(name, department) for department in joins])


def _waiting_for(known: Known, here: Node, nodes: list[Node]) -> Iterator[NodeArc]:
    for node in nodes:
        for arc in predecessors(known, *node):
            if arc.node == here:
                yield NodeArc(node, arc.strands)
