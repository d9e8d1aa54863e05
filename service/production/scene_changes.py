"""How a change of a scene is kept, to be held against the work that had begun before it."""

from service.production.marking import add_mark
from service.production.marks import WORK_BEGUN
from service.production.state import Draft, Touched
from service.production.touched import to_look_at
from service.vocabulary.event import Event


def touch(draft: Draft, event: Event, frames: tuple[int, int]) -> None:
    """Keep a change of a scene, and mark the event if work that it touches had begun by then.

    `frames` are the scene's part of the picture before and after. It is kept although nothing had
    begun: a start may be recorded late.
    """
    name = event.subject
    _, _, change = event.fact.TYPE.partition(".")
    kept = Touched(event.position, event.time_us, change, *frames)
    draft.touched[name] = (*draft.touched.get(name, ()), kept)
    if any(found.change == kept for found in to_look_at(draft, name)):
        add_mark(draft, event.position, WORK_BEGUN)
