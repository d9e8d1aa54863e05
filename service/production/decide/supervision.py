"""What supervision may record, and who may say what in notes."""

from service.production.decide.asking import (
    Reasons,
    on_route,
    the_department,
    the_episode,
    the_item,
    the_scene,
)
from service.production.decide.retakes import calls, reopens
from service.production.evolve.retakes import grown_reach, redo_seeds
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL
from service.production.state import Draft, LookAt, Retake, item_of, visit_of
from service.production.touched import to_look_at
from service.production.visits import Phase
from service.vocabulary.event import Event
from service.vocabulary.facts import supervision as facts
from service.vocabulary.facts import talk


def scene_held(draft: Draft, event: Event, fact: facts.SceneHeld) -> Reasons:
    """A scene is held once at a time."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is not None and scene.hold is not None:
        yield Reason(
            Code.CONTRADICTION, f"{event.subject} is held already; free it first", "/subject"
        )


def scene_freed(draft: Draft, event: Event, fact: facts.SceneFreed) -> Reasons:
    """Only a held scene is freed."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is not None and scene.hold is None:
        yield Reason(Code.CONTRADICTION, f"{event.subject} is not held", "/subject")
    elif scene is not None and scene.hold is not None and event.time_us < scene.hold.since_us:
        yield Reason(Code.TIME_ORDER, f"{event.subject} was held only after that", "/time")


def visit_put_first(draft: Draft, event: Event, fact: facts.VisitPutFirst) -> Reasons:
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


def priority_set(draft: Draft, event: Event, fact: facts.PrioritySet) -> Reasons:
    """A priority is of something known."""
    yield from the_item(draft, event.subject)


def look_at_answered(draft: Draft, event: Event, fact: facts.LookAtAnswered) -> Reasons:
    """What a standing retake listed to look at is answered once; so is what a change touched."""
    if fact.retake is None:
        yield from _change_looked_at(draft, event, fact)
        return
    retake = draft.retakes.get(fact.retake)
    if retake is None:
        yield Reason(Code.UNKNOWN, f"there is no retake {fact.retake}", "/data/retake")
        return
    look = next((look for look in retake.look_at if look.scene == event.subject), None)
    if look is None:
        yield Reason(
            Code.CONTRADICTION,
            f"{fact.retake} does not ask to look at {event.subject}",
            "/subject",
        )
        return
    if look.answer:
        yield Reason(Code.CONTRADICTION, f"answered already: {look.answer}", "/subject")
    if retake.standing != "standing":
        yield Reason(
            Code.CONTRADICTION,
            f"{fact.retake} no longer stands: {retake.standing}",
            "/data/retake",
        )
    if event.time_us < retake.called_us:
        yield Reason(Code.TIME_ORDER, f"{fact.retake} was called only after that", "/time")
    if fact.back_to is not None:
        wrong = list(
            on_route(event.subject, draft.scenes[event.subject], fact.back_to, "/data/back_to")
        )
        yield from wrong
        if wrong:
            return
    if fact.answer == "redo":
        yield from _redone(draft, event, fact, fact.retake, retake, look)


def _change_looked_at(draft: Draft, event: Event, fact: facts.LookAtAnswered) -> Reasons:
    """Whether a scene that changed is to be looked at, and is said to be fine."""
    yield from the_scene(draft, event.subject)
    changes = to_look_at(draft, event.subject)
    if event.subject in draft.scenes and not changes:
        yield Reason(
            Code.CONTRADICTION,
            f"nothing of {event.subject} is to be looked at because it changed; if a retake lists "
            "it, name the retake",
            "/subject",
        )
    if fact.answer != "fine":
        yield Reason(
            Code.CONTRADICTION,
            "what is to be redone because the scene changed is called as a retake; call it, or "
            "answer fine",
            "/data/answer",
        )
    if any(event.time_us < found.change.at_us for found in changes):
        yield Reason(Code.TIME_ORDER, f"{event.subject} changed only after that", "/time")


def _redone(
    draft: Draft,
    event: Event,
    fact: facts.LookAtAnswered,
    code: str,
    retake: Retake,
    look: LookAt,
) -> Reasons:
    """Whether a scene can be redone: where it begins something must have begun."""
    seeds = redo_seeds(draft, retake, look, fact.back_to)
    if not seeds:
        yield Reason(
            Code.CONTRADICTION,
            "say back_to: the retake's department is not on its route",
            "/data/back_to",
        )
        return
    named = [seed.node for seed in seeds if seed.via is None]
    if not all(reopens(draft, event, code, node) for node in named):
        yield Reason(
            Code.CONTRADICTION,
            f"{event.subject} had not begun there by then, so there is nothing to redo",
            "/data/back_to",
        )
    grown = grown_reach(draft, retake, look, fact.back_to)
    yield from calls(draft, event, code, grown.reached)


def scene_bought(draft: Draft, event: Event, fact: facts.SceneBought) -> Reasons:
    """A scene is bought once, and again only where a retake reopened it since."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is None or not scene.bought:
        return
    visits = (visit_of(draft, event.subject, name) for name in scene.departments)
    if all(visit.current.opened_us <= scene.bought_us for visit in visits):
        yield Reason(Code.CONTRADICTION, f"{event.subject} is bought already", "/subject")


def episode_delivered(draft: Draft, event: Event, fact: facts.EpisodeDelivered) -> Reasons:
    """An episode is delivered once."""
    yield from the_episode(draft, event.subject)
    episode = draft.episodes.get(event.subject)
    if episode is not None and episode.delivered_us >= 0:
        yield Reason(Code.CONTRADICTION, f"{event.subject} is delivered already", "/subject")


def note_given(draft: Draft, event: Event, fact: talk.NoteGiven) -> Reasons:
    """A note's code is new, and it goes to a department there is."""
    yield from the_item(draft, event.subject)
    yield from the_department(draft, fact.to, "/data/to")
    if fact.department is not None:
        yield from the_department(draft, fact.department)
    if fact.note in draft.notes:
        yield Reason(Code.EXISTS, f"note {fact.note} is given already", "/data/note")


def note_answered(draft: Draft, event: Event, fact: talk.NoteAnswered) -> Reasons:
    """An open note is answered, under the item it is about."""
    note = draft.notes.get(fact.note)
    if note is None:
        yield Reason(Code.UNKNOWN, f"there is no note {fact.note}", "/data/note")
        return
    if note.answered_us >= 0:
        yield Reason(Code.CONTRADICTION, f"note {fact.note} is answered already", "/data/note")
    if note.item != event.subject:
        yield Reason(Code.CONTRADICTION, f"note {fact.note} is about {note.item}", "/subject")
    if event.time_us < note.given_us:
        yield Reason(Code.TIME_ORDER, f"note {fact.note} was given only after that", "/time")
    if fact.department is not None:
        yield from the_department(draft, fact.department)
