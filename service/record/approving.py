"""The facts that an approval of an order records behind itself, as the log takes them."""

from service.production.orders import count_of
from service.production.state import State
from service.record.proposing import Proposed, propose
from service.record.repeats import Key
from service.vocabulary.event import Event
from service.vocabulary.facts.orders import ChangeOrderApproved
from service.vocabulary.instants import format_instant
from service.vocabulary.kinds import told


def proposal_of(event: Event) -> Proposed:
    """A derived event made ready for the log; `cause` names its order."""
    members = {
        "specversion": "1.0",
        "id": event.id,
        "source": event.source,
        "type": event.fact.TYPE,
        "subject": event.subject,
        "time": format_instant(event.time_us),
        "cause": event.cause,
        "data": told(event.fact),
    }
    return propose(members, {}, event.fact)


def keys_behind(state: State, proposed: Proposed) -> list[Key]:
    """Source and id of each fact behind a recorded approval; nothing for other events."""
    fact = proposed.fact
    order = state.orders.get(fact.order) if isinstance(fact, ChangeOrderApproved) else None
    if order is None or not isinstance(fact, ChangeOrderApproved):
        return []
    count = count_of(order.lines, fact.gates)
    return [(proposed.source, f"{proposed.id}/{number}") for number in range(1, count + 1)]
