"""What joins scenes: hook-ups, and the reuse of one in another."""

from collections.abc import Set

from service.production.asking import Reasons, the_scene
from service.production.graph import from_source, successors
from service.production.nouns.rule import Rule
from service.production.nouns.scenes import mark_sources
from service.production.reach import was_begun
from service.production.refusal import Code, Reason
from service.production.state import (
    Draft,
    Node,
    SameAs,
    Scene,
)
from service.vocabulary.event import Event
from service.vocabulary.facts.office import HookUpDeclared, SameAsDeclared
from service.vocabulary.identifiers import natural_order


def check_hook_up_declared(draft: Draft, event: Event, fact: HookUpDeclared) -> Reasons:
    """Two different scenes, declared once."""
    yield from the_scene(draft, event.subject)
    yield from the_scene(draft, fact.to, "/data/to")
    if fact.to == event.subject:
        yield Reason(Code.CIRCLE, "a scene cannot hook up with itself", "/data/to")
    elif fact.to in draft.hook_ups.get(event.subject, ()):
        yield Reason(Code.EXISTS, "the hook-up is declared already", "/data/to")


def apply_hook_up_declared(draft: Draft, event: Event, fact: HookUpDeclared) -> None:
    """Two scenes must match where they meet."""
    for one, other in ((event.subject, fact.to), (fact.to, event.subject)):
        declared = draft.hook_ups.get(one, ())
        draft.hook_ups[one] = tuple(sorted({*declared, other}, key=natural_order))


def _say_hook_up_declared(event: Event, fact: HookUpDeclared) -> str:
    return f"The end of {event.subject} must match the start of {fact.to}."


def check_same_as_declared(draft: Draft, event: Event, fact: SameAsDeclared) -> Reasons:
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


def apply_same_as_declared(draft: Draft, event: Event, fact: SameAsDeclared) -> None:
    """A scene reuses another's; what it takes over whole it no longer visits itself."""
    scene = draft.scenes[event.subject]
    same = same_as(fact)
    draft.scenes[event.subject] = scene._replace(same_as=(*scene.same_as, same))
    reusers = draft.reusers.get(fact.source, ())
    if event.subject not in reusers:
        draft.reusers[fact.source] = (*reusers, event.subject)
    set_departments(draft, event.subject)
    mark_sources(draft, event)


def _say_same_as_declared(event: Event, fact: SameAsDeclared) -> str:
    return f"{event.subject} reuses {fact.source} and joins it at {fact.joins}."


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


def _taken_over(scene: Scene, name: str, fact: SameAsDeclared) -> Reasons:
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


def same_as(fact: SameAsDeclared) -> SameAs:
    """What a scene reuses, as a state holds it."""
    return SameAs(fact.source, fact.joins, frozenset(fact.strands), fact.levels)


def set_departments(draft: Draft, name: str) -> None:
    """Work out which departments a scene visits itself."""
    scene = draft.scenes[name]
    left_out: set[str] = set()
    for used in scene.elements:
        element = draft.elements[used]
        left_out.update(element.route.kinds[element.kind].replaces)
    for same in scene.same_as:
        if not same.levels:
            left_out |= scene.route.skipped(same.joins, same.strands)
    draft.scenes[name] = scene._replace(
        departments=tuple(n for n in scene.route.scene_departments if n not in left_out)
    )


RULES = {
    "hook-up.declared": Rule(check_hook_up_declared, apply_hook_up_declared, _say_hook_up_declared),
    "same-as.declared": Rule(check_same_as_declared, apply_same_as_declared, _say_same_as_declared),
}
