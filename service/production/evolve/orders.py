"""What is said of change orders; what an approved one changes are facts of their own."""

from service.production.evolve.marking import add_mark
from service.production.evolve.oddities import is_past
from service.production.marks import DATE_PAST
from service.production.ordered import Order, OrderPrice, OrderStep
from service.production.orders import APPROVED, DECLINED, PRICED, RAISED, WITHDRAWN
from service.production.state import Draft
from service.vocabulary.event import Event
from service.vocabulary.facts import orders as facts


def _step(event: Event, standing: str) -> OrderStep:
    return OrderStep(standing, event.position, event.time_us, event.poster, event.role)


def _moved(draft: Draft, event: Event, code: str, standing: str) -> Order:
    order = draft.orders[code]
    moved = order._replace(steps=(*order.steps, _step(event, standing)))
    draft.orders[code] = moved
    return moved


def order_of(event: Event, fact: facts.ChangeOrderRaised) -> Order:
    """The order as it is raised."""
    return Order(event.subject, fact.asked_by, fact.lines, (_step(event, RAISED),))


def change_order_raised(draft: Draft, event: Event, fact: facts.ChangeOrderRaised) -> None:
    """An order, without a price as yet."""
    draft.orders[fact.order] = order_of(event, fact)


def change_order_priced(draft: Draft, event: Event, fact: facts.ChangeOrderPriced) -> None:
    """Its price; a later one takes the place of the one before."""
    if fact.valid_until is not None and is_past(draft, fact.valid_until, event):
        add_mark(draft, event.position, DATE_PAST)
    amounts = tuple(line.amount for line in sorted(fact.lines, key=lambda line: line.line))
    price = OrderPrice(fact.position, fact.currency, amounts, fact.total, fact.valid_until)
    draft.orders[fact.order] = _moved(draft, event, fact.order, PRICED)._replace(price=price)


def change_order_approved(draft: Draft, event: Event, fact: facts.ChangeOrderApproved) -> None:
    """Accepted, with the gates that were agreed to move."""
    approved = _moved(draft, event, fact.order, APPROVED)
    draft.orders[fact.order] = approved._replace(gates=fact.gates)


def change_order_declined(draft: Draft, event: Event, fact: facts.ChangeOrderDeclined) -> None:
    """Turned down."""
    _moved(draft, event, fact.order, DECLINED)


def change_order_withdrawn(draft: Draft, event: Event, fact: facts.ChangeOrderWithdrawn) -> None:
    """Taken back."""
    _moved(draft, event, fact.order, WITHDRAWN)
