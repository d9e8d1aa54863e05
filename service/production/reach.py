"""What a retake reopens: the visits its strands carry it to, and the scenes to look at.

The reach goes through visits that have not started too; whether a visit in it gets a new take is
for the visit's own entries to say.

It is computed as of the position of the call and kept with the retake. `graph.predecessors` is the
one definition of arcs; `successors` is its inverse.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from service.production.graph import successors
from service.production.state import (
    AnyState,
    LookAt,
    Node,
    Reached,
    Retake,
    departments_of,
    item_of,
    visit_of,
)
from service.vocabulary.identifiers import natural_order
from service.vocabulary.quantities import ceil_div


class Reach(NamedTuple):
    """The visits reached, nearest first, and the scenes listed to look at."""

    reached: tuple[Reached, ...]
    look_at: tuple[LookAt, ...]


def node_order(state: AnyState, node: Node) -> tuple[object, ...]:
    """The total order of visits: by item as people count, then along the route."""
    item, department = node
    found = item_of(state, item)
    rank = -1 if found is None else found.route.rank.get(department, -1)
    return natural_order(item), item, rank, department


def was_begun(state: AnyState, node: Node) -> bool:
    """Whether any take of a visit was started or handed off."""
    takes = visit_of(state, *node).takes
    return len(takes) > 1 or takes[0].begun


def with_episodes(state: AnyState, items: Iterable[str]) -> frozenset[str]:
    """Items and the episodes of those that are scenes: naming a scene names its cutting too."""
    named = set(items)
    named.update(state.scenes[item].episode for item in items if item in state.scenes)
    return frozenset(named)


def compute_reach(
    state: AnyState,
    seeds: Iterable[Reached],
    strands: frozenset[str],
    dependents: Mapping[str, str],
    named: frozenset[str],
) -> Reach:
    """Follow the arcs that carry `strands` from the seeds, nearest first.

    `dependents` says redo, look-at or leave for dependent scenes; scenes and episodes already
    delivered are left unless `named`, and from an omitted scene no arc leads to its episode. Ties
    go by the total order, so the chain behind a visit is unique; of what reaches a visit over
    equally short chains, the largest share counts.
    """
    found: dict[Node, Reached] = {}
    marked: dict[str, dict[Node, Reached]] = {}
    level = _in_order(state, seeds)
    while level:
        found.update((reached.node, reached) for reached in level)
        following: dict[Node, Reached] = {}
        for reached in level:
            for arc in successors(state, *reached.node):
                if arc.node in found or not arc.strands & strands:
                    continue
                item = arc.node[0]
                if item in state.episodes and _omitted(state, reached.node[0]):
                    continue  # nothing of it is in the picture that is cut
                mark = "redo" if item in named else dependents.get(item, "redo")
                if mark == "look-at":
                    _meet(marked.setdefault(item, {}), arc.node, reached)
                elif mark == "redo" and (item in named or not delivered(state, item)):
                    _meet(following, arc.node, reached)
        level = _in_order(state, following.values())
    found = _episodes_scaled(state, found)
    look_at = [
        LookAt(scene, "marked", tuple(_in_order(state, steps.values())))
        for scene, steps in marked.items()
    ]
    look_at += _hook_ups(state, found, dependents, named, marked)
    return Reach(
        tuple(found.values()), tuple(sorted(look_at, key=lambda look: natural_order(look.scene)))
    )


def _episodes_scaled(state: AnyState, found: dict[Node, Reached]) -> dict[Node, Reached]:
    """The share of an episode touched: that of its scenes, each by its part of the length.

    A tenth of one scene in two hundred is not a tenth of the cutting.
    """
    touched: dict[str, dict[str, int]] = {}
    for (item, _), step in found.items():
        scene = state.scenes.get(item)
        if scene is not None:
            shares = touched.setdefault(scene.episode, {})
            shares[item] = max(shares.get(item, 0), step.share_e4)
    scaled = dict(found)
    for node, step in found.items():
        shares = touched.get(node[0], {}) if step.via is not None else {}
        if shares:
            scenes = [(state.scenes[name], share) for name, share in shares.items()]
            part = sum(share * scene.frames for scene, share in scenes if not scene.omitted)
            share = ceil_div(part, max(1, state.episodes[node[0]].scene_frames))
            scaled[node] = step._replace(share_e4=max(1, share))
    return scaled


def _omitted(state: AnyState, item: str) -> bool:
    scene = state.scenes.get(item)
    return scene is not None and scene.omitted


def _in_order(state: AnyState, steps: Iterable[Reached]) -> list[Reached]:
    return sorted(steps, key=lambda reached: node_order(state, reached.node))


def _meet(steps: dict[Node, Reached], node: Node, by: Reached) -> None:
    """A visit met from another: the first one leads there, the largest share counts."""
    step = steps.get(node)
    if step is None:
        steps[node] = Reached(node, by.node, by.share_e4)
    elif step.share_e4 < by.share_e4:
        steps[node] = step._replace(share_e4=by.share_e4)


def delivered(state: AnyState, item: str) -> bool:
    """Whether the episode is delivered that a scene belongs to, or that this is."""
    scene = state.scenes.get(item)
    episode = state.episodes.get(scene.episode if scene else item)
    return episode is not None and episode.delivered


def _hook_ups(
    state: AnyState,
    found: Mapping[Node, Reached],
    dependents: Mapping[str, str],
    named: frozenset[str],
    marked: Mapping[str, object],
) -> list[LookAt]:
    """Neighbours of reopened scenes: never reopened by themselves, listed until answered."""
    reached = {item for item, _ in found}
    reopened = dict.fromkeys(
        node[0] for node in found if was_begun(state, node) and not _omitted(state, node[0])
    )
    listed: dict[str, None] = {}
    for item in reopened:
        for neighbour in state.hook_ups.get(item, ()):
            if neighbour in reached or neighbour in marked or dependents.get(neighbour) == "leave":
                continue
            if neighbour in named or not delivered(state, neighbour):
                listed[neighbour] = None
    return [LookAt(scene, "hook-up", ()) for scene in listed]


def entry_department(
    state: AnyState, back_to: str, items: tuple[str, ...], scene: str
) -> str | None:
    """Where a redo of a scene begins by default; None if it visits no such department.

    That is where the call begins, or else where the element that the call names feeds the scene.
    """
    found = item_of(state, scene)
    if found is None:
        return None
    own = departments_of(found)
    if back_to in own:
        return back_to
    element = state.elements.get(items[0])
    feeds = element.route.kinds[element.kind].feeds if element else None
    return feeds if feeds in own else None


def entries_of(reach: Iterable[Reached]) -> list[Reached]:
    """The steps by which a reach enters an item from another."""
    return [step for step in reach if step.via is not None and step.via[0] != step.node[0]]


def chains_of(reach: Iterable[Reached]) -> Callable[[Node], tuple[Node, ...]]:
    """A function that gives the chain of visits from the one the retake names to a visit.

    Both ends are in it. For many visits of one reach.
    """
    via = {reached.node: reached.via for reached in reach}

    def chain_to(node: Node) -> tuple[Node, ...]:
        chain = [node]
        while (before := via.get(chain[-1])) is not None:
            chain.append(before)
        return tuple(reversed(chain))

    return chain_to


def reopened_by(state: AnyState, code: str, retake: Retake) -> list[tuple[Reached, int]]:
    """The visits of a reach that have a take asked for by this retake, with that take's number."""
    found = []
    for reached in retake.reach:
        for take in reversed(visit_of(state, *reached.node).takes):
            if any(called == code for called, _ in take.shares):
                found.append((reached, take.number))
                break
    return found


def cancelled_by_withdrawal(state: AnyState, code: str, retake: Retake) -> list[Node]:
    """Visits of a reach that the retake no longer asks anything of once it is taken back.

    A take stays that was begun, or that follows a begun take of the same retake: what was begun
    will be handed off anew, and those behind must take it up. Visits that had not started when it
    was called are among them: a start recorded late must not bring the call to life again.
    """
    nodes = {reached.node for reached in retake.reach}
    kept = {
        node for node in nodes if any(take.took_up(code) for take in visit_of(state, *node).takes)
    }
    waiting = list(kept)
    while waiting:  # what stands behind one that is kept is kept too
        behind = {arc.node for arc in successors(state, *waiting.pop())}
        more = (behind & nodes) - kept
        kept |= more
        waiting += more
    return [reached.node for reached in retake.reach if reached.node not in kept]
