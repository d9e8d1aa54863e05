"""What may be said of the dates that episodes must meet, and who moves a hard one."""

from service.production.decide.asking import Reasons, the_episode
from service.production.decide.permission import Actor
from service.production.evolve.gates import moves_hard_date
from service.production.refusal import Code, Reason
from service.production.state import Draft
from service.vocabulary.event import Event
from service.vocabulary.facts import Role
from service.vocabulary.facts.office import GateSet


def gate_set(draft: Draft, event: Event, fact: GateSet) -> Reasons:
    """A gate is an episode's."""
    yield from the_episode(draft, event.subject)


def hard_date_against(draft: Draft, event: Event, actor: Actor | None) -> list[Reason]:
    """Whether a hard date may be moved so: by the producer who says why.

    What an approved change order moves is not asked about here, and a question (no actor) moves
    nothing. Asked only of what is new: a date that stands in the record stays what it was.
    """
    fact = event.fact
    if actor is None or not isinstance(fact, GateSet):
        return []
    if not moves_hard_date(draft.episodes[event.subject], fact):
        return []
    gate = draft.episodes[event.subject].gate(fact.gate)
    date = "" if gate is None else f", {gate.due_on}"
    hard = f"the {fact.gate} date of {event.subject}{date} is hard"
    if actor.role is not Role.PRODUCER:
        detail = f"{hard}: it moves with an approved change order, or by the producer with a reason"
        return [Reason(Code.FORBIDDEN, detail, "/data/due_on")]
    if fact.reason is None:
        return [Reason(Code.CONTRADICTION, f"{hard}; say the reason why it moves", "/data/reason")]
    return []


def strikes_hard_date(event: Event, actor: Actor | None) -> bool:
    """Whether a strike of an event would undo a hard date that the actor may not move."""
    fact = event.fact
    if actor is None or actor.role is Role.PRODUCER:
        return False
    return isinstance(fact, GateSet) and fact.hard
