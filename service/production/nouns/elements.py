"""Elements, and the scenes that use them."""

from service.production.asking import (
    Reasons,
    tables_on_route,
    the_scene,
)
from service.production.nouns.joins import set_departments
from service.production.nouns.rule import Rule
from service.production.nouns.shows import check_route, show_and_route
from service.production.oddities import mark_alike
from service.production.reach import was_begun
from service.production.refusal import Code, Reason
from service.production.state import (
    Draft,
    Element,
)
from service.production.wording import counted
from service.vocabulary.event import Event
from service.vocabulary.facts.office import ElementListed, ElementUsed


def check_element_listed(draft: Draft, event: Event, fact: ElementListed) -> Reasons:
    """An element is listed once, of a kind that the route has."""
    if event.subject in draft.elements:
        yield Reason(Code.EXISTS, f"element {event.subject} is listed already", "/subject")
    route = yield from check_route(draft, event)
    if route is None:
        return
    kind = route.kinds.get(fact.kind)
    if kind is None:
        kinds = ", ".join(sorted(route.kinds)) or "none"
        yield Reason(
            Code.UNKNOWN, f"the route has no kind {fact.kind}; it has: {kinds}", "/data/kind"
        )
    else:
        yield from tables_on_route(kind.departments, fact.difficulty, fact.work)


def apply_element_listed(draft: Draft, event: Event, fact: ElementListed) -> None:
    """An element of a show, by the route in force."""
    show, route = show_and_route(draft, event)
    mark_alike(draft, event)
    opened = draft.shows[show]
    draft.shows[show] = opened._replace(elements=(*opened.elements, event.subject))
    draft.elements[event.subject] = Element(
        show=show,
        kind=fact.kind,
        title=fact.title,
        route=route,
        frames=fact.frames or 0,
        drawings=fact.drawings,
        difficulty=fact.difficulty,
        work=fact.work,
        departments=route.visits_of_kind(fact.kind),
        listed_us=event.time_us,
    )


def _say_element_listed(event: Event, fact: ElementListed) -> str:
    return f"{event.subject} was listed; its kind is {fact.kind}."


def check_element_used(draft: Draft, event: Event, fact: ElementUsed) -> Reasons:
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


def apply_element_used(draft: Draft, event: Event, fact: ElementUsed) -> None:
    """Scenes that use an element no longer visit the departments it replaces."""
    element = draft.elements[event.subject]
    new = [name for name in fact.scenes if name not in element.scenes]
    draft.elements[event.subject] = element._replace(scenes=(*element.scenes, *new))
    for name in new:
        scene = draft.scenes[name]
        draft.scenes[name] = scene._replace(elements=(*scene.elements, event.subject))
        set_departments(draft, name)


def _say_element_used(event: Event, fact: ElementUsed) -> str:
    return f"{event.subject} is used by {counted(len(fact.scenes), 'scene')}."


RULES = {
    "element.listed": Rule(check_element_listed, apply_element_listed, _say_element_listed),
    "element.used": Rule(check_element_used, apply_element_used, _say_element_used),
}
