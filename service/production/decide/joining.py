"""What may be said of how scenes and elements are joined."""

from collections.abc import Set

from service.production.decide.asking import Reasons, the_scene
from service.production.evolve.office import same_as
from service.production.graph import from_source, successors
from service.production.reach import was_begun
from service.production.refusal import Code, Reason
from service.production.state import Draft, Node, Scene
from service.vocabulary.event import Event
from service.vocabulary.facts import office as facts


def element_used(draft: Draft, event: Event, fact: facts.ElementUsed) -> Reasons:
    """An element is used by scenes of its show that have not begun what it replaces."""
    element = draft.elements.get(event.subject)
    if element is None:
        yield Reason(
            Code.UNKNOWN,
            f"element {event.subject} is not in the record; list it first",
            "/subject",
        )
    for place, name in enumerate(fact.scenes):
        member = f"/data/scenes/{place}"
        scene = draft.scenes.get(name)
        if scene is None:
            yield from the_scene(draft, name, member)
            continue
        if element is None:
            continue
        kind = element.route.kinds[element.kind]
        if not name.startswith(f"{element.show}-"):
            yield Reason(Code.CONTRADICTION, f"{name} is of another show", member)
        elif name in element.scenes or name in fact.scenes[:place]:
            yield Reason(Code.EXISTS, f"{name} uses {event.subject} already", member)
        elif kind.feeds not in scene.route.scene_departments:
            yield Reason(
                Code.NOT_ON_ROUTE, f"{name} does not visit {kind.feeds}, which it feeds", member
            )
        for department in kind.replaces:
            if department in scene.departments and was_begun(draft, (name, department)):
                yield Reason(
                    Code.CONTRADICTION, f"{name} has begun its own visit at {department}", member
                )


def hook_up_declared(draft: Draft, event: Event, fact: facts.HookUpDeclared) -> Reasons:
    """Two different scenes, declared once."""
    yield from the_scene(draft, event.subject)
    yield from the_scene(draft, fact.to, "/data/to")
    if fact.to == event.subject:
        yield Reason(Code.CIRCLE, "a scene cannot hook up with itself", "/data/to")
    elif fact.to in draft.hook_ups.get(event.subject, ()):
        yield Reason(Code.EXISTS, "the hook-up is declared already", "/data/to")


def same_as_declared(draft: Draft, event: Event, fact: facts.SameAsDeclared) -> Reasons:
    """No circles, and nothing already begun is skipped."""
    yield from the_scene(draft, event.subject)
    yield from the_scene(draft, fact.source, "/data/source")
    scene = draft.scenes.get(event.subject)
    if scene is None or fact.source not in draft.scenes:
        return
    if _reuses(draft, fact.source, event.subject):
        yield Reason(Code.CIRCLE, f"{fact.source} itself reuses {event.subject}", "/data/source")
    if fact.joins not in scene.departments:
        yield Reason(
            Code.NOT_ON_ROUTE, f"{event.subject} does not visit {fact.joins}", "/data/joins"
        )
        return
    if any(same.source == fact.source and same.joins == fact.joins for same in scene.same_as):
        yield Reason(Code.EXISTS, "it is declared already", "/data/source")
    same = same_as(fact)
    reused = {arc.node for arc in from_source(draft, scene, same)}
    if draft.scenes[fact.source].route is not scene.route and _leads_to(
        draft, (event.subject, fact.joins), reused
    ):
        yield Reason(
            Code.CIRCLE,
            f"{fact.source} comes behind {fact.joins} of {event.subject}, by their routes: each "
            "would wait for the other; reuse a scene that does not",
            "/data/source",
        )
    yield from _taken_over(scene, event.subject, fact)
    if fact.levels:
        return
    for department in sorted(scene.route.skipped(fact.joins, frozenset(fact.strands))):
        if department in scene.departments and was_begun(draft, (event.subject, department)):
            yield Reason(
                Code.CONTRADICTION,
                f"{event.subject} has begun its own visit at {department}",
                "/data/joins",
            )


def _leads_to(draft: Draft, node: Node, others: Set[Node]) -> bool:
    """Whether any of some visits stands behind a visit, over whatever lies between.

    Within one route what is reused stands before the department where it is joined, so that only
    scenes of different routes can come to wait for each other.
    """
    seen, waiting = {node}, [node]
    while waiting:
        for arc in successors(draft, *waiting.pop()):
            if arc.node in others:
                return True
            if arc.node not in seen:
                seen.add(arc.node)
                waiting.append(arc.node)
    return False


def _taken_over(scene: Scene, name: str, fact: facts.SameAsDeclared) -> Reasons:
    """Something must be reused: a department that need not work on the scene, or named levels."""
    strands, reused = frozenset(fact.strands), " and ".join(sorted(fact.strands))
    if not any(arc.strands & strands for arc in scene.route.follows[fact.joins]):
        yield Reason(
            Code.CONTRADICTION,
            f"nothing that {fact.joins} waits for carries {reused}; say another strand or joins",
            "/data/strands",
        )
    elif not fact.levels and not scene.route.skipped(fact.joins, strands):
        yield Reason(
            Code.CONTRADICTION,
            f"every department before {fact.joins} still has work of its own on {name}, so nothing "
            f"of {fact.source} would be taken over; name the levels that are reused, more strands, "
            "or a later department to join at",
            "/data/joins",
        )


def _reuses(draft: Draft, scene: str, source: str) -> bool:
    """Whether a scene is the source, or reuses it directly or through others."""
    waiting, seen = [scene], set()
    while waiting:
        name = waiting.pop()
        if name == source:
            return True
        if name not in seen:
            seen.add(name)
            waiting.extend(same.source for same in draft.scenes[name].same_as)
    return False
