"""The facts that an approval of an order records behind itself, as the log takes them."""

from service.production.orders import count_of
from service.production.state import State
from service.record.proposing import Proposed
from service.record.repeats import Key
from service.vocabulary.facts.orders import ChangeOrderApproved


def keys_behind(state: State, proposed: Proposed) -> list[Key]:
    """Source and id of each fact behind a recorded approval; nothing for other events."""
    fact = proposed.fact
    order = state.orders.get(fact.order) if isinstance(fact, ChangeOrderApproved) else None
    if order is None or not isinstance(fact, ChangeOrderApproved):
        return []
    count = count_of(order.lines, fact.gates)
    return [(proposed.source, f"{proposed.id}/{number}") for number in range(1, count + 1)]
