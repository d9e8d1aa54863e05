"""What facts of supervision and of talk change."""

from service.production.evolve.marking import add_mark
from service.production.evolve.oddities import is_past
from service.production.lending import Lending
from service.production.marks import DATE_PAST, OPEN_VISITS, STILL_NEEDED
from service.production.meeting import meetings_at_delivery
from service.production.state import Draft, Hold, Note, departments_of
from service.production.visits import Phase
from service.vocabulary.event import Event
from service.vocabulary.facts import supervision as facts
from service.vocabulary.facts import talk


def scene_held(draft: Draft, event: Event, fact: facts.SceneHeld) -> None:
    """Nothing of a scene starts until it is freed."""
    if is_past(draft, fact.by_on, event):
        add_mark(draft, event.position, DATE_PAST)
    hold = Hold(event.position, fact.owes, fact.by_on, event.time_us)
    draft.scenes[event.subject] = draft.scenes[event.subject]._replace(hold=hold)


def scene_freed(draft: Draft, event: Event, fact: facts.SceneFreed) -> None:
    """A held scene goes on."""
    draft.scenes[event.subject] = draft.scenes[event.subject]._replace(hold=None)


def visit_put_first(draft: Draft, event: Event, fact: facts.VisitPutFirst) -> None:
    """The latest such order goes first: positions grow."""
    draft.put_first[event.subject, fact.department] = event.position


def priority_set(draft: Draft, event: Event, fact: facts.PrioritySet) -> None:
    """A priority of a scene, an element, or a whole episode."""
    subject = event.subject
    if subject in draft.scenes:
        draft.scenes[subject] = draft.scenes[subject]._replace(priority=fact.priority)
    elif subject in draft.elements:
        draft.elements[subject] = draft.elements[subject]._replace(priority=fact.priority or 0)
    else:
        draft.episodes[subject] = draft.episodes[subject]._replace(priority=fact.priority or 0)


def scene_bought(draft: Draft, event: Event, fact: facts.SceneBought) -> None:
    """A scene is accepted."""
    draft.scenes[event.subject] = draft.scenes[event.subject]._replace(bought_us=event.time_us)


def episode_delivered(draft: Draft, event: Event, fact: facts.EpisodeDelivered) -> None:
    """An episode has left the studio; how its gates stand then is kept for good."""
    episode = draft.episodes[event.subject]
    met = meetings_at_delivery(draft, event.subject, event.time_us)
    draft.episodes[event.subject] = episode._replace(delivered_us=event.time_us, met=met)
    scenes = ((name, draft.scenes[name]) for name in episode.scenes)
    in_picture = ((name, scene.departments) for name, scene in scenes if not scene.omitted)
    items = [(event.subject, departments_of(episode)), *in_picture]
    if not all(_handed_off(draft, item, departments) for item, departments in items):
        add_mark(draft, event.position, OPEN_VISITS)
    lending = Lending(draft)
    if any(lending.still_to_do(scene) for scene in episode.scenes):
        add_mark(draft, event.position, STILL_NEEDED)


def _handed_off(draft: Draft, item: str, departments: tuple[str, ...]) -> bool:
    visits = draft.visits.get(item, {})
    return all(
        department in visits and visits[department].takes[-1].phase is Phase.HANDED_OFF
        for department in departments
    )


def note_given(draft: Draft, event: Event, fact: talk.NoteGiven) -> None:
    """A note is open."""
    draft.notes[fact.note] = Note(event.position, event.subject, fact.to, event.time_us)


def note_answered(draft: Draft, event: Event, fact: talk.NoteAnswered) -> None:
    """A note is answered."""
    draft.notes[fact.note] = draft.notes[fact.note]._replace(
        answered_us=event.time_us, answered_position=event.position
    )
