"""Who may record what: by role, and for a desk by department."""

from typing import NamedTuple

from service.production.refusal import Code, Reason
from service.vocabulary.event import Event
from service.vocabulary.facts import Role
from service.vocabulary.facts.orders import ChangeOrderApproved
from service.vocabulary.facts.record import EventStruck


class Actor(NamedTuple):
    """Who posts: the token's name, role and, for a desk, departments."""

    name: str
    role: Role
    departments: tuple[str, ...] = ()


def permitted(event: Event, actor: Actor | None) -> list[Reason]:
    """Reasons against this actor recording this fact.

    Without an actor nobody records it and it is only asked about: then it may be any fact that
    some role could record.
    """
    fact = event.fact
    if not fact.ROLES:
        who = "nobody over HTTP" if actor is None else f"the server, not {actor.role}"
        remedy = "ask who owns the database to run `retake-ledger erase-text`"
        return [Reason(Code.FORBIDDEN, f"{fact.TYPE} is recorded by {who}: {remedy}", "/type")]
    if actor is None:
        return []
    return _of_role(event, actor) or _of_department(event, actor)


def _of_role(event: Event, actor: Actor) -> list[Reason]:
    """What an approval records is who may approve's to record, whatever they may record else."""
    roles, what = event.fact.ROLES, event.fact.TYPE
    if event.cause:
        roles, what = ChangeOrderApproved.ROLES, f"{what} of an order"
    if actor.role in roles:
        return []
    detail = f"{what} is recorded by {', '.join(sorted(roles))}, not {actor.role}"
    return [Reason(Code.FORBIDDEN, detail, "/type")]


def _of_department(event: Event, actor: Actor) -> list[Reason]:
    """A desk records for its own departments; what it strikes is looked at with what is struck."""
    if actor.role is not Role.DESK or event.cause or isinstance(event.fact, EventStruck):
        return []
    department = getattr(event.fact, "department", None)
    if department in actor.departments:
        return []
    own = ", ".join(actor.departments) or "none"
    remedy = "say from which department" if department is None else f"not for {department}"
    detail = f"a desk records for its own departments ({own}): {remedy}"
    return [Reason(Code.FORBIDDEN, detail, "/data/department")]
