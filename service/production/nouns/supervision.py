"""What supervisors order: holds, priorities, what goes first."""

from service.production.asking import (
    Reasons,
    on_route,
    the_item,
    the_scene,
)
from service.production.marking import add_mark
from service.production.marks import DATE_PAST
from service.production.nouns.rule import Rule
from service.production.oddities import is_past
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL
from service.production.state import Draft, Hold, item_of, visit_of
from service.production.takes import Phase
from service.vocabulary.event import Event
from service.vocabulary.facts.supervision import PrioritySet, SceneFreed, SceneHeld, VisitPutFirst


def check_scene_held(draft: Draft, event: Event, fact: SceneHeld) -> Reasons:
    """A scene is held once at a time."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is not None and scene.hold is not None:
        yield Reason(
            Code.CONTRADICTION, f"{event.subject} is held already; free it first", "/subject"
        )


def apply_scene_held(draft: Draft, event: Event, fact: SceneHeld) -> None:
    """Nothing of a scene starts until it is freed."""
    if is_past(draft, fact.by_on, event):
        add_mark(draft, event.position, DATE_PAST)
    hold = Hold(event.position, fact.owes, fact.by_on, event.time_us)
    draft.scenes[event.subject] = draft.scenes[event.subject]._replace(hold=hold)


def _say_scene_held(event: Event, fact: SceneHeld) -> str:
    return f"{event.subject} was held: {fact.owes} owes an answer by {fact.by_on}."


def check_scene_freed(draft: Draft, event: Event, fact: SceneFreed) -> Reasons:
    """Only a held scene is freed."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is not None and scene.hold is None:
        yield Reason(Code.CONTRADICTION, f"{event.subject} is not held", "/subject")
    elif scene is not None and scene.hold is not None and event.time_us < scene.hold.since_us:
        yield Reason(Code.TIME_ORDER, f"{event.subject} was held only after that", "/time")


def apply_scene_freed(draft: Draft, event: Event, fact: SceneFreed) -> None:
    """End the hold of a scene."""
    draft.scenes[event.subject] = draft.scenes[event.subject]._replace(hold=None)


def _say_scene_freed(event: Event, fact: SceneFreed) -> str:
    return f"{event.subject} may go on."


def check_visit_put_first(draft: Draft, event: Event, fact: VisitPutFirst) -> Reasons:
    """Only what waits can be put first."""
    found = item_of(draft, event.subject)
    if found is None:
        yield from the_item(draft, event.subject)
        return
    against = list(on_route(event.subject, found, fact.department))
    if fact.department == APPROVAL and not against:
        detail = "nobody works at an approval, so there is no order to put it into"
        against.append(Reason(Code.CONTRADICTION, detail, "/data/department"))
    yield from against
    if not against:
        take = visit_of(draft, event.subject, fact.department).current
        if take.phase is not Phase.WAITING:
            yield Reason(
                Code.ILLEGAL_MOVE,
                f"{event.subject} does not wait at {fact.department}; only what waits can be "
                "put first",
                "/subject",
            )


def apply_visit_put_first(draft: Draft, event: Event, fact: VisitPutFirst) -> None:
    """The latest such order goes first: positions grow."""
    draft.put_first[event.subject, fact.department] = event.position


def _say_visit_put_first(event: Event, fact: VisitPutFirst) -> str:
    return f"{event.subject} was put first at {fact.department}."


def check_priority_set(draft: Draft, event: Event, fact: PrioritySet) -> Reasons:
    """A priority is of something known."""
    yield from the_item(draft, event.subject)


def apply_priority_set(draft: Draft, event: Event, fact: PrioritySet) -> None:
    """A priority of a scene, an element, or a whole episode."""
    subject = event.subject
    if subject in draft.scenes:
        draft.scenes[subject] = draft.scenes[subject]._replace(priority=fact.priority)
    elif subject in draft.elements:
        draft.elements[subject] = draft.elements[subject]._replace(priority=fact.priority or 0)
    else:
        draft.episodes[subject] = draft.episodes[subject]._replace(priority=fact.priority or 0)


def _say_priority_set(event: Event, fact: PrioritySet) -> str:
    return f"The priority of {event.subject} " + (
        "is no longer its own." if fact.priority is None else f"was set to {fact.priority}."
    )


RULES = {
    "scene.held": Rule(check_scene_held, apply_scene_held, _say_scene_held),
    "scene.freed": Rule(check_scene_freed, apply_scene_freed, _say_scene_freed),
    "visit.put-first": Rule(check_visit_put_first, apply_visit_put_first, _say_visit_put_first),
    "priority.set": Rule(check_priority_set, apply_priority_set, _say_priority_set),
}
