"""What an order consists of, carried out line by line: tried, or with an approval in earnest."""

from collections.abc import Callable
from typing import NamedTuple

from service.production.folding import apply
from service.production.ordered import Order
from service.production.orders import Derived, facts_of, gate_facts, items_of
from service.production.refusal import Code, Reason
from service.production.state import Draft, State
from service.vocabulary.event import Event
from service.vocabulary.facts.orders import ChangeOrderApproved

Against = Callable[[Draft, Event], list[Reason]]


class Carried(NamedTuple):
    """The facts in order, the state after each line, and what is against them.

    Reasons name members of `change-order.raised`.
    """

    events: tuple[Event, ...]
    states: tuple[State, ...]
    reasons: tuple[Reason, ...]


def carry_out(draft: Draft, code: str, order: Order, event: Event, against: Against) -> Carried:
    """Write an order's facts into a draft, right behind an event: each line after those before.

    They have the event's source, time and poster, and ids made of its own. What is refused is not
    written.
    """
    events: list[Event] = []
    states: list[State] = []
    reasons: list[Reason] = []
    for number, line in enumerate(order.lines, 1):
        pointer = f"/data/lines/{number - 1}"
        if line.change == "redesign" and line.element not in draft.elements:
            detail = f"element {line.element} is not in the record; list it first"
            reasons.append(Reason(Code.UNKNOWN, detail, f"{pointer}/element"))
            continue
        for derived in facts_of(draft, code, order, number):
            made = _made(event, len(events) + 1, derived, code)
            found = against(draft, made)
            reasons += [
                reason._replace(member=pointer + derived.pointer(reason.member)) for reason in found
            ]
            if found:
                draft.worked_out.clear()  # reaches kept by position, which the next fact has too
            else:
                apply(draft, made)
                events.append(made)
        states.append(draft.branch())
    return Carried(tuple(events), tuple(states), tuple(reasons))


def _made(event: Event, count: int, derived: Derived, code: str) -> Event:
    return Event(
        event.position + count,
        event.source,
        f"{event.id}/{count}",
        derived.subject,
        event.time_us,
        event.recorded_us,
        event.poster,
        derived.fact,
        event.role,
        code,
    )


def tried(state: State, code: str, order: Order, position: int, at_us: int, against: Against,
) -> Carried:  # fmt: skip
    """An order carried out on a branch of a state of the log at a position, at a moment."""
    fact = ChangeOrderApproved(code)
    event = Event(position + 1, "", "", order.subject, at_us, at_us, "", fact)
    return carry_out(Draft(state), code, order, event, against)


def approve(draft: Draft, event: Event, fact: ChangeOrderApproved, against: Against) -> Carried:
    """Carry an approved order out, and move the gates that were agreed; reasons are the approval's.

    The approval itself must be written already.
    """
    order = draft.orders[fact.order]
    carried = carry_out(draft, fact.order, order, event, against)
    reasons = []
    for reason in carried.reasons:
        number = int(reason.member.split("/")[3]) + 1
        line = order.lines[number - 1]
        about = ", ".join(items_of(line)[:3])
        detail = f"line {number} ({line.change} {about}) cannot be carried out: {reason.detail}"
        reasons.append(reason._replace(detail=detail, member="/data/order"))
    events = list(carried.events)
    if not reasons:
        for derived in gate_facts(draft, fact.gates):
            made = _made(event, len(events) + 1, derived, fact.order)
            apply(draft, made)
            events.append(made)
    return Carried(tuple(events), carried.states, tuple(reasons))
