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


def permitted(event: Event, actor: Actor) -> list[Reason]:
    """Reasons against this actor recording this fact.

    What an approval records is who may approve's to record, whatever their role may record else.
    """
    fact = event.fact
    if event.cause:
        if actor.role in ChangeOrderApproved.ROLES:
            return []
        roles = ", ".join(sorted(ChangeOrderApproved.ROLES))
        detail = f"{fact.TYPE} of an order is recorded by {roles}, not {actor.role}"
        return [Reason(Code.FORBIDDEN, detail, "/type")]
    if actor.role not in fact.ROLES:
        roles = ", ".join(sorted(fact.ROLES)) or "the server"
        detail = f"{fact.TYPE} is recorded by {roles}, not {actor.role}"
        if not fact.ROLES:
            detail += ": ask who owns the database to run `retake-ledger erase-text`"
        return [Reason(Code.FORBIDDEN, detail, "/type")]
    if actor.role is not Role.DESK or isinstance(fact, EventStruck):
        return []
    department = getattr(fact, "department", None)
    if department in actor.departments:
        return []
    own = ", ".join(actor.departments) or "none"
    said = "say from which department" if department is None else f"not for {department}"
    return [
        Reason(
            Code.FORBIDDEN,
            f"a desk records for its own departments ({own}): {said}",
            "/data/department",
        )
    ]
