"""What a retake reopens: the visits its strands carry it to, and the scenes to look at.

The reach goes through visits that have not started too; whether a visit in it gets a new take is
for the visit's own entries to say.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from service.production.graph import predecessors, successors
from service.production.state import (
    Known,
    LookAt,
    Node,
    Reached,
    Retake,
    departments_of,
    item_of,
    visit_of,
)
from service.production.visits import Phase
from service.vocabulary.identifiers import natural_order


class Reach(NamedTuple):
    """The visits reached, nearest first, and the scenes listed to look at."""

    reached: tuple[Reached, ...]
    look_at: tuple[LookAt, ...]


def node_order(known: Known, node: Node) -> tuple[object, ...]:
    """The total order of visits: by item as people count, then along the route."""
    item, department = node
    found = item_of(known, item)
    rank = -1 if found is None else found.route.rank.get(department, -1)
    return natural_order(item), item, rank, department


def was_begun(known: Known, node: Node) -> bool:
    """Whether any take of a visit was started or handed off."""
    takes = visit_of(known, *node).takes
    return len(takes) > 1 or takes[0].begun


def compute_reach(
    known: Known,
    seeds: Iterable[Reached],
    strands: frozenset[str],
    marks: Mapping[str, str],
    named: frozenset[str],
) -> Reach:
    """Follow the arcs that carry `strands` from the seeds, nearest first.

    `marks` says redo, look-at or leave for dependent scenes; scenes and episodes already delivered
    are left unless `named`. Ties go by the total order, so the chain behind a visit is unique.
    """
    found: dict[Node, Reached] = {}
    marked: dict[str, list[Reached]] = {}
    level = sorted(seeds, key=lambda reached: node_order(known, reached.node))
    while level:
        following: dict[Node, Reached] = {}
        for reached in level:
            found[reached.node] = reached
        for reached in level:
            for arc in successors(known, *reached.node):
                if arc.node in found or arc.node in following or not arc.strands & strands:
                    continue
                step = Reached(arc.node, reached.node, reached.share_e4)
                item = arc.node[0]
                mark = "redo" if item in named else marks.get(item, "redo")
                if mark == "look-at":
                    marked.setdefault(item, []).append(step)
                elif mark == "redo" and (item in named or not _delivered(known, item)):
                    following[arc.node] = step
        level = sorted(following.values(), key=lambda reached: node_order(known, reached.node))
    look_at = [LookAt(scene, "marked", _entries(marked[scene])) for scene in marked]
    look_at += _hook_ups(known, found, marks, set(marked))
    return Reach(
        tuple(found.values()), tuple(sorted(look_at, key=lambda look: natural_order(look.scene)))
    )


def _entries(steps: list[Reached]) -> tuple[Reached, ...]:
    return tuple({step.node: step for step in steps}.values())


def _delivered(known: Known, item: str) -> bool:
    scene = known.scenes.get(item)
    episode = known.episodes.get(scene.episode if scene else item)
    return episode is not None and episode.delivered_us >= 0


def _hook_ups(
    known: Known, found: Mapping[Node, Reached], marks: Mapping[str, str], but: set[str]
) -> list[LookAt]:
    """Neighbours of reopened scenes: never reopened by themselves, listed until answered."""
    reopened = {item for item, _ in found}
    begun = {node[0]: None for node in found if was_begun(known, node)}
    neighbours: dict[str, None] = {}
    for item in begun:
        for neighbour in known.hook_ups.get(item, ()):
            if neighbour in reopened or neighbour in but or marks.get(neighbour) == "leave":
                continue
            if not _delivered(known, neighbour):
                neighbours[neighbour] = None
    return [LookAt(scene, "hook-up", ()) for scene in neighbours]


def entry_department(known: Known, retake: Retake, scene: str) -> str | None:
    """Where a redo of a scene begins by default: at the retake's department or behind it."""
    found = item_of(known, scene)
    if found is None:
        return None
    if retake.back_to in departments_of(found):
        return retake.back_to
    first = retake.items[0]
    element = known.elements.get(first)
    if element is not None:
        return element.route.kinds[element.kind].feeds
    return None


def chain_of(reach: Iterable[Reached], node: Node) -> tuple[Node, ...]:
    """The chain of visits from the one the retake names to `node`, both included."""
    via = {reached.node: reached.via for reached in reach}
    chain = [node]
    while (before := via.get(chain[-1])) is not None:
        chain.append(before)
    return tuple(reversed(chain))


def reopened_by(known: Known, code: str, retake: Retake) -> list[tuple[Reached, int]]:
    """The visits of a reach that have a take asked for by this retake, with that take's number."""
    found = []
    for reached in retake.reach:
        for take in reversed(visit_of(known, *reached.node).takes):
            if any(asked == code for asked, _ in take.shares):
                found.append((reached, take.number))
                break
    return found


def cancelled_by_withdrawal(known: Known, code: str, retake: Retake) -> list[Node]:
    """Visits whose waiting take loses this retake's share when it is taken back.

    A take stays that was begun, or that follows a begun take of the same retake: what was begun
    will be handed off anew, and those behind must take it up.
    """
    nodes = {reached.node for reached in retake.reach}
    begun: set[Node] = set()
    waiting: list[Node] = []
    for reached in retake.reach:
        takes = [
            take
            for take in visit_of(known, *reached.node).takes
            if any(asked == code for asked, _ in take.shares)
        ]
        if any(take.phase is not Phase.WAITING for take in takes):
            begun.add(reached.node)
        elif takes:
            waiting.append(reached.node)
    kept: dict[Node, bool] = {}
    return [node for node in waiting if not _follows(known, node, nodes, begun, kept)]


def _follows(
    known: Known, node: Node, nodes: set[Node], begun: set[Node], kept: dict[Node, bool]
) -> bool:
    """Whether a visit of the reach stands behind a begun one."""
    if node not in kept:
        kept[node] = any(
            arc.node in nodes
            and (arc.node in begun or _follows(known, arc.node, nodes, begun, kept))
            for arc in predecessors(known, *node)
        )
    return kept[node]
